"""What follows from a doubt: the run goes on with what is left, slowly, or a stop latches."""

import pytest

from rover.devices.readings import HeadingValue, RangeValue, WheelCounts
from rover.events import Health, HealthChange, Stop


def of(records, kind):
    return [event for record in records for event in record.events if isinstance(event, kind)]


def doubts(records):
    return [event.device for event in of(records, HealthChange) if event.health is Health.DOUBTED]


@pytest.fixture
def driving(stepping):
    at_work = stepping()
    at_work.steps(3.0)
    return at_work


def without_left(at_work):
    """Turn the wheels, and have the left encoder count nothing."""
    turn_wheels = at_work.turn_wheels

    def turn():
        left = at_work.values["counts"].left
        turn_wheels()
        at_work.values["counts"] = WheelCounts(left, at_work.values["counts"].right)

    at_work.turn_wheels = turn


def test_with_one_side_that_lies_it_goes_on_slowly_by_the_other_and_the_turn_rate(driving):
    without_left(driving)
    records = driving.steps(3.0)
    assert doubts(records) == ["counts"]
    signals, x = driving.core.known.signals, driving.core.pose.x
    assert (signals.counts_ok, signals.counts_doubted, signals.pose_doubted) == (True, True, True)
    driving.steps(1.0)
    contact_speed = driving.core.known.robot.limits.contact_speed
    assert driving.core.pose.x - x == pytest.approx(contact_speed, rel=0.15)
    assert signals.motion_slowed
    assert not of(records, Stop)


def test_without_a_turn_rate_it_stops(driving):
    without_left(driving)
    records = driving.steps(3.0, heading=HeadingValue(0.0, None, 3))
    assert doubts(records) == ["counts"]
    assert "no turn rate" in of(records, Stop)[0].cause


def test_until_it_is_decided_the_pose_is_less_sure(driving):
    before = driving.core.covariance()[0]
    driving.turn_wheels = lambda: None
    driving.steps(0.3)
    assert driving.core.covariance()[0] > before + 0.03**2


def test_what_a_doubted_range_finder_says_counts_no_more(driving):
    records = driving.steps(4.0, range=RangeValue(1.0))
    assert doubts(records) == ["range"]
    records = driving.steps(2.0, range=RangeValue(0.05))
    assert driving.core.known.signals.range_doubted
    assert any(record.drive.left > 0.0 for record in records[-5:])


def test_a_position_that_is_not_known_stops(driving):
    driving.core.known.filter.lost(1.0)
    records = driving.steps(1.0)
    assert of(records, Stop)[0].cause.startswith("the position is sure to")
