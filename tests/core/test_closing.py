"""Echoes of what the robot comes nearer to, held against its counts: they tell whether it went as far as it counted."""

import math
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.core.closing import STRETCH, Closing
from tests.core.rig import SPIN, STEP, STRAIGHT, Rig

EVERY = 0.02
"""Way (m) between two echoes."""


def drive(closing, way, times=1.0, start=2.0, slant=1.0, noise=0.0, draws=None, stray=0.0):
    """Go so far (m) towards something, counting so many times that; return what is told, with the way it took."""
    told, draws = [], draws or Random(1)
    for step in range(round(way / EVERY)):
        closing.move(times * EVERY, 0.0)
        gone = (step + 1) * EVERY
        echo = draws.uniform(0.1, 3.0) if draws.random() < stray else start - slant * gone + draws.gauss(0.0, noise)
        if closed := closing.hear(echo):
            told.append((gone, closed))
    return told


@given(slant=st.floats(0.85, 1.0), noise=st.floats(0.0, 0.025), stray=st.floats(0.0, 0.05), seed=st.integers(0, 999))
def test_true_counts_are_not_taken_for_wrong_ones(slant, noise, stray, seed):
    """What is heard aside, or a wall aslant, comes nearer by a little less than the way."""
    assert not drive(Closing(), 1.8, slant=slant, noise=noise, draws=Random(seed), stray=stray)


@pytest.mark.parametrize("noise", [0.0, 0.02])
@pytest.mark.parametrize("times", [0.4, 0.5, 1.6, 2.0, 2.5])
def test_scaled_ones_are_told_within_a_metre_by_how_much(times, noise):
    told = drive(Closing(), 1.5, times=times, noise=noise)
    assert told
    way, closed = told[0]
    assert way <= 1.0
    assert closed.times == pytest.approx(times, rel=0.3 if noise else 0.1)
    assert closed.astray == pytest.approx(abs(times - 1.0) * way, rel=0.5)


@pytest.mark.parametrize("times", [0.5, 2.0])
@pytest.mark.parametrize("phase", [0.0, 1.5, 3.0, 4.5])
def test_a_robot_that_sways_a_little_tells_them_as_well(times, phase):
    """By 1 deg in 40 cm of way; a wall aslant 2 m off might make 4 cm of that, and not as much as is off."""
    closing, told, before = Closing(), [], 0.0
    for step in range(75):
        sway = math.radians(1.0) * math.sin(phase + math.tau * step * EVERY / 0.4)
        closing.move(times * EVERY, sway - before)
        before = sway
        told.append(closing.hear(2.0 - EVERY * (step + 1)))
    assert any(told)


def test_backing_away_they_are_told_as_well():
    closing, told = Closing(), []
    for step in range(60):
        closing.move(-2.0 * EVERY, 0.0)
        told.append(closing.hear(0.4 + EVERY * step))
    assert any(told)


def test_one_stretch_alone_tells_nothing():
    closing = Closing()
    for _ in range(3):
        assert not drive(closing, 0.8 * STRETCH, times=2.0)
        assert not drive(closing, 2.0 * STRETCH)


def test_nor_do_echoes_of_one_thing_after_the_other():
    closing, draws = Closing(), Random(3)
    for step in range(100):
        closing.move(EVERY, 0.0)
        assert closing.hear(draws.choice((2.0, 1.2, 0.7)) - 0.01 * (step % 20)) is None


def test_nor_does_a_robot_that_turns():
    closing = Closing()
    for step in range(200):
        closing.move(EVERY, math.radians(2.0))
        assert closing.hear(4.0 - 0.5 * EVERY * step) is None


@given(
    slant=st.floats(0.0, 50.0), distance=st.floats(0.8, 3.0), rate=st.floats(-24.0, 24.0), noise=st.floats(0.0, 0.01)
)
def test_nor_does_one_that_turns_a_little_before_a_wall_aslant(slant, distance, rate, noise):
    """The beam sweeps along the wall: at 2 m and 45 deg a turn of 5 deg is worth 16 cm."""
    closing, draws = Closing(), Random(5)
    across, towards = distance * math.cos(math.radians(slant)), math.radians(slant)
    for _ in range(60):
        closing.move(EVERY, math.radians(rate) * EVERY)
        towards = min(max(towards + math.radians(rate) * EVERY, 0.0), math.radians(50.0))
        across -= EVERY * math.cos(towards)
        assert closing.hear(across / math.cos(towards) + draws.gauss(0.0, noise)) is None
        if across < 0.3:
            return


@pytest.mark.parametrize(("is_square", "told"), [(True, True), (False, False)])
def test_but_a_wall_of_the_map_that_faces_it_tells_while_it_turns(is_square, told):
    """Halved counts from the start of an errand, 3 m before a wall: the robot came round by 4 deg."""
    closing, heard = Closing(), []
    for step in range(50):
        closing.move(0.5 * EVERY, math.radians(0.16))
        heard.append(closing.hear(3.2 - EVERY * step, is_square=is_square))
    assert any(heard) is told


def test_nor_does_one_that_goes_to_and_fro():
    closing = Closing()
    for step in range(500):
        closing.move(EVERY if step % 4 < 2 else -EVERY, 0.0)
        assert closing.hear(1.0) is None


@pytest.mark.parametrize("echo", [1.0, None])
def test_nor_does_an_echo_that_stays_or_none(echo):
    """That it stays is told elsewhere: it is the range finder's lie."""
    closing = Closing()
    for _ in range(200):
        closing.move(EVERY, 0.0)
        assert closing.hear(echo) is None


def hear(rig, duties, seconds, echo):
    """Drive with echoes at 10 Hz."""
    for _ in range(round(seconds / 0.1)):
        rig.drive(*duties, 0.1)
        if not rig.verdict:
            rig.checks.hear("range", echo(rig), None)


@pytest.mark.parametrize("times", [0.5, 2.0])
def test_on_the_first_straight_both_sides_are_found_to_count_otherwise(times):
    """No duty has been learned on a straight yet; the robot's control drives it by what it counts."""
    rig = Rig(counts=(times, times), told=(0.2, 0.2))
    duty = 0.2 / times / rig.robot.devices.drive.top_speed * 0.88 + 0.12
    hear(rig, (duty, duty), 10.0, lambda rig: 2.5 - rig.way)
    assert rig.verdict == "stop"
    assert f"{times:.0f}" in rig.checks.why_stop or "0.5" in rig.checks.why_stop
    assert rig.way <= 1.0


def test_somebody_who_walks_before_the_robot_has_nobody_blamed():
    """The duties acquit the counts. The place is less sure for it, since who walks there is unknown."""
    rig = Rig(told=(0.3, 0.3))
    hear(rig, STRAIGHT, 4.0, lambda rig: 2.0 - 0.4 * rig.way)
    assert rig.verdict == ""
    assert rig.unsure > 0.2


def test_a_healthy_robot_is_as_sure_as_before():
    rig = Rig()
    hear(rig, STRAIGHT, 4.0, lambda rig: 2.0 - rig.way)
    rig.drive(*SPIN, 1.0)
    start = rig.way
    hear(rig, STRAIGHT, 4.0, lambda rig: 2.0 - (rig.way - start))
    assert (rig.verdict, rig.unsure) == ("", 0.0)
    assert rig.steps * STEP > 8.0
