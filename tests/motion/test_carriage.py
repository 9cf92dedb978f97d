"""What every command passes, whoever gives it: the jaws' reach, no invented field, both wheels in proportion."""

import math

import pytest

from rover.devices.readings import RangeValue
from rover.geometry import Pose
from rover.motion.carriage import USABLE_SHARE, Carriage
from rover.motion.keep_clear import Whereabouts
from rover.motion.limits import Allowed
from rover.motion.request import Request

STEP_NS, STEP = 20_000_000, 0.02
AHEAD = Request(speed=0.4)


def driven(carriage, wall, seconds=20.0):
    """Drive ahead towards a wall (m from the range finder's face) and return the place (m) at which it stands."""
    place = 0.0
    for step in range(round(seconds / STEP)):
        carriage.take("range", RangeValue(max(0.02, wall - place)))
        allowed = carriage.allow(AHEAD, step * STEP_NS, STEP)
        carriage.echoes.moved(allowed.speed * STEP, 0.0)
        place += allowed.speed * STEP
    return place


def test_it_stops_before_a_wall_with_body_and_jaws(cart):
    robot = cart()
    front = max(0.5 * robot.body.length, robot.body.gripper_reach) - robot.devices.range.ahead
    left = 2.0 - front - driven(Carriage(robot), 2.0)
    assert left == pytest.approx(robot.limits.stop_gap, abs=0.02)


def test_without_a_field_nothing_ends_but_at_what_is_heard(cart):
    carriage = Carriage(cart())
    speeds = [
        carriage.allow(AHEAD, step * STEP_NS, STEP, Whereabouts(Pose(99.0, 99.0, 0.0))).speed for step in range(200)
    ]
    assert speeds[-1] == pytest.approx(cart().limits.speed)
    assert carriage.limits.causes == ()


def test_with_one_its_boundary_holds_back(cart, field):
    carriage = Carriage(cart(), field)
    for step in range(10):
        allowed = carriage.allow(AHEAD, step * STEP_NS, STEP, Whereabouts(Pose(5.95, 2.0, 0.0)))
    assert (allowed.speed, carriage.limits.causes) == (0.0, ("boundary",))


@pytest.mark.parametrize("turn_rate", [0.0, 2.0, -8.0, 20.0])
def test_no_wheel_is_asked_for_more_than_it_can_and_the_curve_stays(cart, turn_rate):
    robot = cart()
    left, right = Carriage(robot).wheel_speeds(Allowed(0.3, turn_rate, None), 0.36)
    assert max(abs(left), abs(right)) <= USABLE_SHARE * robot.devices.drive.top_speed + 1e-9
    assert (right - left) * 0.3 == pytest.approx(0.36 * turn_rate * 0.5 * (left + right))


def test_without_counts_the_duty_is_the_share_of_the_top_speed_past_the_dead_band(cart):
    robot = cart()
    drive = robot.devices.drive
    left, right = Carriage(robot).duties((0.3, -0.3), (None, None), STEP)
    assert left == pytest.approx(drive.dead_band + (1.0 - drive.dead_band) * 0.3 / drive.top_speed)
    assert right == -left


def test_counts_that_lag_behind_raise_the_duty_of_their_side_alone(cart):
    carriage = Carriage(cart())
    for _ in range(20):
        left, right = carriage.duties((0.3, 0.3), (0.1, 0.3), STEP)
    assert left > right


def test_what_is_not_a_number_is_no_motion(cart):
    assert Carriage(cart()).allow(Request(math.nan, math.inf), 0, STEP)[:2] == (0.0, 0.0)
