"""Echoes that stay the same while the robot moves, and those that need not."""

import pytest

from rover.core.sameness import SAME_ECHOES, Echoes
from tests.core.rig import ROBOT

LEAST = ROBOT.devices.range.least


@pytest.fixture
def echoes():
    return Echoes(ROBOT.devices.range)


def heard(echoes, distance, way):
    """Return what is said to be wrong with equal echoes on a way (m)."""
    says = ""
    for _ in range(2 * SAME_ECHOES):
        echoes.move(way / (2 * SAME_ECHOES), way / (2 * SAME_ECHOES), 0.0)
        says = says or echoes.hear(distance, None)
    return says


@pytest.mark.parametrize(("distance", "way"), [(0.8, 0.5), (LEAST, 2.0)])
def test_the_same_again_and_again_is_no_healthy_sensors(echoes, distance, way):
    assert "again and again" in heard(echoes, distance, way)


def test_what_is_told_as_the_least_may_be_nearer_and_change(echoes):
    assert heard(echoes, LEAST, 0.5) == ""


def test_a_way_with_something_held_before_it_tells_nothing(echoes):
    """What slips from the jaws after 3 m still stands before the range finder, as it did before the grip."""
    echoes.hear(LEAST, None)
    echoes.move(3.0, 3.0, 0.0)
    assert heard(echoes, LEAST, 0.2) == ""
    echoes.move(0.0, 0.0, 4.0)
    assert heard(echoes, LEAST, 0.2) == ""
