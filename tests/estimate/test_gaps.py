"""Times of which no counts tell: nothing is held against a pose that nobody knows, and what was lost is not sure."""

import math

import pytest

from rover.estimate.covariance import Errors
from rover.estimate.pose import HEADING_EVERY_NS, PoseFilter
from rover.estimate.source import REFUSALS_BEFORE_DOUBT
from rover.geometry import Pose

DEGREE = math.pi / 180.0
MS = 1_000_000
STEP, STEP_NS = 0.02, 20 * MS
ERRORS = Errors(start=(0.02, 0.02, 3.0 * DEGREE), growth=3e-4, heading_noise=2.0 * DEGREE, heading_bias=1.0 * DEGREE)


class Driving:
    """A robot whose wheels are told what to do, and whose counts can be missing."""

    def __init__(self):
        self.filter = PoseFilter(Pose(0.0, 0.0, 0.0), 0.36, ERRORS)
        self.now_ns = self.counted_ns = 0
        self.left = self.right = 0.0

    def run(self, speed, turn_rate, steps, *, counted=True):
        for _ in range(steps):
            self.filter.unseen.command(speed, turn_rate, STEP, self.now_ns)
            self.now_ns += STEP_NS
            self.left += (speed - 0.18 * turn_rate) * STEP
            self.right += (speed + 0.18 * turn_rate) * STEP
            if counted:
                self.count()

    def count(self):
        seconds = (self.now_ns - self.counted_ns) * 1e-9
        self.filter.drive(self.left, self.right, seconds, self.now_ns)
        self.left = self.right = 0.0
        self.counted_ns = self.now_ns

    def see(self, angle, taken_ns):
        return self.filter.see_heading(angle, None, taken_ns)

    @property
    def sigma(self):
        return self.filter.sigmas[2]


@pytest.fixture
def turned_in_a_gap():
    """It turned by half a radian while no counts came, stood for a while, and then all counts came at once."""
    driving = Driving()
    driving.run(0.0, 0.0, 50)
    driving.run(0.0, 1.0, 25, counted=False)
    driving.run(0.0, 0.0, 25, counted=False)
    driving.count()
    return driving


def test_an_angle_of_the_gap_is_not_held_against_a_pose_on_the_line_through_it(turned_in_a_gap):
    """It stood there already; the line from pose to pose has it still turning."""
    before = turned_in_a_gap.filter.heading
    turned_in_a_gap.see(0.5, turned_in_a_gap.now_ns - 100 * MS)
    assert turned_in_a_gap.filter.heading == before
    turned_in_a_gap.run(0.0, 0.0, 1)
    turned_in_a_gap.see(0.5, turned_in_a_gap.now_ns)
    assert turned_in_a_gap.filter.heading != before


def test_where_it_was_in_the_gap_nobody_knows(turned_in_a_gap):
    knows, now_ns = turned_in_a_gap.filter.knows, turned_in_a_gap.now_ns
    assert not knows(now_ns - 500 * MS)
    assert knows(now_ns)
    assert knows(now_ns - 1100 * MS)


def test_a_gap_in_which_it_stood_is_none():
    driving = Driving()
    driving.run(0.0, 0.0, 50)
    driving.run(0.0, 0.0, 50, counted=False)
    assert driving.filter.knows(driving.now_ns)
    driving.count()
    assert driving.filter.knows(driving.now_ns - 500 * MS)


def test_while_no_counts_come_it_is_not_known_where_a_robot_is_that_was_told_to_move():
    driving = Driving()
    driving.run(0.4, 0.0, 50)
    driving.run(0.4, 0.0, 4, counted=False)
    assert driving.filter.knows(driving.now_ns)
    driving.run(0.4, 0.0, 3, counted=False)
    assert not driving.filter.knows(driving.now_ns)


def test_what_no_counts_will_tell_is_half_of_what_was_told_give_or_take_as_much():
    driving = Driving()
    driving.run(0.4, 0.0, 50)
    before, sigma = driving.filter.x, driving.filter.sigmas[0]
    driving.run(0.4, 0.0, 25, counted=False)
    driving.filter.never_told(driving.now_ns)
    driving.filter.propagate()
    assert driving.filter.x - before == pytest.approx(0.1)
    assert driving.filter.sigmas[0] == pytest.approx(math.hypot(sigma, 0.1), rel=0.05)
    assert not driving.filter.unseen.is_commanded


def test_a_restart_at_the_time_of_the_last_counts_moves_nothing():
    driving = Driving()
    driving.run(0.4, 0.0, 50)
    before = driving.filter.pose
    driving.filter.never_told(driving.now_ns)
    assert driving.filter.pose == before
    assert driving.filter.speed == 0.0


class TestJumps:
    """The angle jumps, and stays: the heading is as unsure as both things are that it can mean."""

    def jumped(self, jump, rate=0.0):
        driving = Driving()
        for _ in range(2 * REFUSALS_BEFORE_DOUBT):
            driving.run(0.0, 0.0, 10)
            driving.filter.see_heading(0.0, rate, driving.now_ns)
        for _ in range(2 * REFUSALS_BEFORE_DOUBT):
            for _ in range(HEADING_EVERY_NS // STEP_NS + 1):
                driving.run(0.0, 0.0, 1)
                driving.filter.see_heading(jump, rate, driving.now_ns)
        return driving

    @pytest.mark.parametrize("degrees", [12.0, -15.0, 60.0, 170.0])
    def test_the_heading_covers_both(self, degrees):
        driving = self.jumped(degrees * DEGREE)
        off_if_it_errs = abs(driving.filter.heading)
        off_if_turned = abs(driving.filter.heading - degrees * DEGREE)
        assert off_if_it_errs < 2.0 * driving.sigma
        assert off_if_turned < 4.0 * driving.sigma
