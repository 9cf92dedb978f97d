"""Who contradicts the estimate again and again makes the position unsure, until somebody else agrees with it."""

import pytest

from rover.estimate.contradictions import ENOUGH, LEAST, MOST, Contradictions, Off, Witness
from rover.estimate.doubt import SURE

WALL, OPPOSITE, ASIDE, MARKER = Witness("wall 1"), Witness("wall 2"), Witness("wall 3"), Witness("marker", "distance")
ALONG, ACROSS = (1.0, 0.0), (0.0, 1.0)
SIGMA = 0.03


def off(way, line=ALONG, sigma=SIGMA):
    return Off(line, way, sigma)


def after(*told):
    """Return what is contradicted after so much was told, each by a witness, with how far off."""
    contradictions = Contradictions()
    for witness, what in told:
        contradictions.take(witness, what)
    return contradictions


def unsure(*told):
    """Return how unsure (m) the position is after that, along and across."""
    doubt = after(*told).added_to(SURE)
    return doubt.along(*ALONG), doubt.along(*ACROSS)


def test_a_few_may_be_noise():
    assert unsure(*[(WALL, off(0.3))] * (ENOUGH - 1)) == (0.0, 0.0)


def test_as_unsure_as_it_is_off_and_along_that_line_only():
    assert unsure(*[(WALL, off(0.3))] * ENOUGH) == pytest.approx((0.3, 0.0))


def test_one_alone_stops_nobody():
    assert unsure(*[(WALL, off(5.0))] * ENOUGH) == pytest.approx((MOST, 0.0))


def test_noise_is_not_alike():
    ways = (0.3, -0.3, 0.6, -0.2, 0.4, -0.5, 0.3, -0.3)
    assert unsure(*[(WALL, off(way)) for way in ways]) == (0.0, 0.0)


@pytest.mark.parametrize("what", [off(0.9 * LEAST, sigma=0.001), off(0.25, sigma=0.1)], ids=["little", "vague"])
def test_what_is_little_or_vague_contradicts_nothing(what):
    assert unsure(*[(WALL, what)] * 20) == (0.0, 0.0)


def test_once_told_a_stray_one_takes_nothing_back():
    assert unsure(*[(WALL, off(0.3))] * ENOUGH, (WALL, off(1.9))) == pytest.approx((0.3, 0.0))


def test_another_that_agrees_along_the_same_line_settles_it():
    contradictions = after(*[(WALL, off(0.3))] * ENOUGH)
    assert contradictions.take(OPPOSITE, off(0.02))
    assert contradictions.added_to(SURE) == SURE


@pytest.mark.parametrize(
    ("witness", "what"),
    [
        (WALL, off(0.02)),
        (ASIDE, off(0.02, ACROSS)),
        (MARKER, off(0.1, sigma=0.2)),
        (MARKER, off(0.02)._replace(is_of_place=False)),
    ],
    ids=["the same wall, to which it was moved", "another line", "vague", "a bearing"],
)
def test_others_settle_nothing(witness, what):
    assert unsure(*[(WALL, off(0.3))] * ENOUGH, (witness, what)) == pytest.approx((0.3, 0.0))


def test_who_contradicts_settles_nothing():
    told = [(WALL, off(0.3))] * ENOUGH + [(MARKER, off(-0.3))] * ENOUGH + [(WALL, off(0.0))]
    assert after(*told).are_of_several
    assert unsure(*told)[0] > 0.4
