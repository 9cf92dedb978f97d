"""Headings held against the one before, by the rate between them or by what the robot can turn."""

import math
import random
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.core.possible import HeadingSteps, fastest_turn
from rover.devices.readings import HeadingValue, Reading
from rover.files.load import load
from rover.quantities import wrap

CART = load(Path(__file__).parents[2] / "config/cart.yaml", "robot").model


def believed(headings, every=0.05):
    """Return which of some (angle, rate) that come one after another are believed."""
    steps = HeadingSteps(CART)
    return [
        steps.follows(Reading(round(index * every * 1e9), index, HeadingValue(wrap(angle), rate)))
        for index, (angle, rate) in enumerate(headings)
    ]


@pytest.mark.parametrize("rate", [0.0, None])
def test_one_damaged_heading_is_left_out(rate):
    """3 rad in a twentieth of a second, while the rate says none; and without a rate, farther than the robot turns."""
    assert believed([(0.0, rate), (3.0, rate), (0.01, rate), (0.0, rate)]) == [True, False, True, True]


def test_one_damaged_rate_too():
    assert believed([(0.0, 0.0), (0.0, 5.0), (0.0, 0.0)]) == [True, False, True]


def test_a_sensor_turned_by_hand_is_believed_from_the_second_heading_on():
    assert believed([(0.0, 0.0), (2.0, 0.0), (2.01, 0.0), (2.0, 0.0)]) == [True, False, True, True]


def test_headings_that_do_not_follow_from_each_other_are_none_of_them_believed():
    wild = [(angle, 0.0) for angle in (2.0, -2.0, 1.0, -1.0, 2.5)]
    assert believed([(0.0, 0.0), *wild, (0.02, 0.0)]) == [True, *[False] * 5, True]


@given(rates=st.lists(st.floats(-1.57, 1.57), min_size=2, max_size=30), seed=st.integers(0, 1000), tells=st.booleans())
def test_what_a_robot_can_turn_is_believed(rates, seed, tells):
    """Noise of two degrees, ramps as the drive has them, across the seam too; with and without a rate."""
    noise, angle, rate, headings = random.Random(seed), 3.0, 0.0, []
    for wanted in rates:
        rate += max(-0.4, min(0.4, wanted - rate))
        angle += rate * 0.05
        headings.append((angle + noise.gauss(0.0, math.radians(2.0)), rate if tells else None))
    assert all(believed(headings))


def test_after_a_gap_any_heading_may_follow():
    assert believed([(0.0, None), (3.0, None)], every=2.0) == [True, True]


def test_a_robot_may_be_turned_by_hand():
    assert fastest_turn(CART) >= math.tau
