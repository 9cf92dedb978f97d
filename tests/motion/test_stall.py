"""Wheels that are driven and do not turn, told from wheels that start slowly and counts that come late."""

import pytest

from rover.motion.stall import STALLED_AFTER, WINDOW, StallWatch

STEP = 0.02


def stalls(watch, seconds, told, went, *, counted=lambda step: True):
    """Return the times (s) at which it told of a stall; ``went`` are speeds by the counts, reported when counted."""
    times, left, right = [], 0.0, 0.0
    for step in range(round(seconds / STEP)):
        if watch.look():
            times.append(step * STEP)
        watch.tell(*told, STEP)
        left, right = left + went[0] * STEP, right + went[1] * STEP
        if counted(step):
            watch.go(left, right)
            left = right = 0.0
    return times


@pytest.mark.parametrize("told", [(0.3, 0.3), (-0.3, -0.3), (0.2, -0.2), (0.05, 0.05)])
def test_wheels_that_stand_are_stalled_after_a_while_and_again(told):
    """One count in four seconds tells that counts come at all."""
    watch = StallWatch()
    first, second = stalls(watch, 3.5, told, (0.0005, 0.0005))
    assert not watch.is_for_good
    assert first == pytest.approx(STALLED_AFTER * WINDOW, abs=0.1)
    assert second - first == pytest.approx(STALLED_AFTER * WINDOW, abs=0.1)


def test_both_sides_that_stand_stall_at_once_and_the_second_time_without_a_count_for_good():
    watch = StallWatch()
    watch.stand()
    assert watch.look()
    assert not watch.look()
    assert not watch.is_for_good
    watch.stand()
    assert watch.is_for_good


def test_where_more_tries_are_allowed_each_is_another_way():
    watch = StallWatch(tries=3)
    for told in ((0.2, 0.2), (-0.1, -0.1), (-0.1, 0.1)):
        watch.tell(*told, STEP)
        watch.stand()
        assert watch.stood
        assert not watch.is_for_good
    watch.tell(0.1, -0.1, STEP)
    watch.stand()
    assert watch.is_for_good


def test_the_same_way_again_without_a_count_is_for_good():
    watch = StallWatch(tries=3)
    for told in ((0.2, 0.2), (-0.1, 0.1), (0.1, 0.15)):
        assert not watch.is_for_good
        watch.tell(*told, STEP)
        watch.stand()
    assert watch.is_for_good


def test_one_count_between_tells_that_counts_come():
    watch = StallWatch()
    watch.stand()
    watch.go(0.0005, 0.0)
    watch.stand()
    assert not watch.is_for_good


def test_wheels_that_jerk_against_something_are_stalled_too():
    """Pushing against a post they give a little in each step; that is far behind what they are told."""
    assert stalls(StallWatch(), 2.0, (0.3, 0.3), (0.04, 0.04))


def test_one_side_that_stands_is_enough():
    assert stalls(StallWatch(), 2.0, (0.3, 0.3), (0.3, 0.0))


def test_wheels_that_roll_back_while_driven_on_are_stalled():
    assert stalls(StallWatch(), 2.0, (0.2, 0.2), (-0.2, -0.2))


@pytest.mark.parametrize("told", [(0.3, 0.3), (-0.2, 0.2), (0.0, 0.0), (0.02, -0.02)])
def test_wheels_that_do_as_told_and_those_told_nothing_are_not(told):
    assert not stalls(StallWatch(), 10.0, told, tuple(0.7 * speed for speed in told))


def test_counts_that_wait_in_the_line_for_a_second_are_no_stall():
    assert not stalls(StallWatch(), 10.0, (0.3, 0.3), (0.3, 0.3), counted=lambda step: step % 60 == 59)


def test_without_counts_nothing_is_known():
    assert not stalls(StallWatch(), 10.0, (0.3, 0.3), (0.0, 0.0), counted=lambda step: False)
