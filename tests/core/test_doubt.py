"""What follows from a doubt: the run goes on with what is left, slowly, or a stop latches."""

import itertools
import math

import pytest

from rover.devices.readings import Detection, Detections, HeadingValue, RangeValue, WheelCounts
from rover.events import Health, HealthChange, Stop
from tests.core.conftest import STEP


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


def test_a_turn_that_a_turn_rate_told_wrongly_is_taken_back_though_the_angle_was_doubted_before(driving):
    """First the angle stays, and is left out; then the rate is told with the wrong sign. What it told until it was left
    out, too, stood in the estimate, by 90 degrees."""
    known, rate = driving.core.known, 0.8
    driving.turn_wheels, before, found = lambda: None, known.pose.heading, []
    per_step = 0.5 * rate * STEP * known.filter.track / known.robot.body.metres_per_count
    left, right, _ = driving.values["counts"]
    for step in range(1, 131):
        counts = WheelCounts(left - round(step * per_step), right + round(step * per_step))
        told = rate if not found else -rate
        record = driving.step(counts=counts, heading=HeadingValue(1e-4 * step, told, 3))
        found += doubts([record])
    assert found == ["heading"]
    assert known.pose.heading - before == pytest.approx(rate * 130 * STEP, rel=0.25)


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


def test_a_place_that_a_knocked_camera_fixed_by_the_marker_is_less_sure(driving):
    def jar(kind, x, y):
        """Return what a camera that looks 10 deg to the left sees of a jar (m)."""
        pose, ahead = driving.core.pose, driving.core.known.targets.view.ahead
        dx = x - pose.x - ahead * math.cos(pose.heading)
        dy = y - pose.y - ahead * math.sin(pose.heading)
        bearing = math.atan2(dy, dx) - pose.heading - math.radians(10.0)
        return Detections((Detection(kind, bearing, math.hypot(dx, dy), 0.01, 0.05, 0.1),))

    driving.core.known.fixes.marker_from = 1.5
    x, y, _ = driving.core.pose
    records, sigmas = [], [driving.core.known.filter.position_doubt.worst]
    for kind, ahead in (("amber", 1.4), ("teal", 2.2)):
        for _ in range(150):
            records.append(driving.step(camera=jar(kind, x + ahead, y + 0.1)))
            sigmas.append(driving.core.known.filter.position_doubt.worst)
    assert doubts(records) == ["camera"]
    most = max(after**2 - before**2 for before, after in itertools.pairwise(sigmas))
    assert math.sqrt(most) == pytest.approx(math.radians(10.0) * 1.5, rel=0.1)
