"""What no counts tell of: the commands since they were taken, not since they came."""

import pytest

from rover.estimate.unseen import CARRY_ON_DOUBT, Unseen

STEP_NS, STEP = 20_000_000, 0.02


def commanded(steps, speed=0.5, turn_rate=0.0):
    unseen = Unseen(0.0)
    for step in range(steps):
        unseen.command(speed, turn_rate, STEP, step * STEP_NS)
    return unseen


def test_late_counts_leave_what_was_told_since():
    unseen = commanded(10)
    unseen.count(6 * STEP_NS)
    assert unseen.sigmas(0.0, 0.0)[0] == pytest.approx(CARRY_ON_DOUBT * 4 * 0.01)


def test_counts_of_now_leave_nothing():
    unseen = commanded(10)
    unseen.count(10 * STEP_NS)
    assert not unseen.is_commanded
    assert unseen.sigmas(0.0, 0.0) == (0.0, 0.0)


def test_standing_still_is_nothing_to_be_told_of():
    assert not commanded(10, speed=0.0).is_commanded


def test_what_was_told_is_to_be_had_up_to_a_time():
    assert commanded(10, turn_rate=-1.0).told(5 * STEP_NS) == pytest.approx((0.05, -0.1))
