"""Where the robot was a moment ago."""

import math

import pytest

from rover.estimate.history import PoseHistory

STEP_NS = 20_000_000


def driven(steps):
    history = PoseHistory()
    for step in range(steps + 1):
        history.append(step * STEP_NS, 0.01 * step, 0.0, 0.0)
    return history


def test_between_two_it_is_there_by_proportion():
    assert driven(10).at(5 * STEP_NS + STEP_NS // 2) == pytest.approx((0.055, 0.0, 0.0))


def test_what_corrects_the_estimate_corrects_what_was_before_and_nothing_after():
    history = driven(10)
    history.correct(0.1, 0.2, 0.3)
    history.append(11 * STEP_NS, 0.21, 0.2, 0.3)
    assert history.at(5 * STEP_NS) == pytest.approx((0.15, 0.2, 0.3))
    assert history.at(10 * STEP_NS + STEP_NS // 2) == pytest.approx((0.205, 0.2, 0.3))
    assert history.at(11 * STEP_NS) is None


def test_corrections_add_up_and_a_heading_goes_round():
    history = driven(2)
    history.correct(0.0, 0.0, 3.0)
    history.correct(0.0, 0.0, 1.0)
    assert history.at(0).heading == pytest.approx(4.0 - math.tau)


def test_before_there_is_anything_a_correction_is_of_nothing():
    history = PoseHistory()
    history.correct(1.0, 1.0, 1.0)
    history.append(0, 0.0, 0.0, 0.0)
    history.append(STEP_NS, 0.0, 0.0, 0.0)
    assert history.at(0) == (0.0, 0.0, 0.0)
