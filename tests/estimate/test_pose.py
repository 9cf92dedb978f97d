"""The pose filter: its covariance, its gates, slip, and readings that come late."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.estimate.covariance import SCALE_SIGMA, STATES, Errors
from rover.estimate.pose import HEADING_EVERY_NS, PoseFilter
from rover.estimate.source import REFUSALS_BEFORE_DOUBT
from rover.geometry import Pose

DEGREE = math.pi / 180.0
ERRORS = Errors(start=(0.02, 0.02, 3.0 * DEGREE), growth=3e-4, heading_noise=2.0 * DEGREE, heading_bias=1.0 * DEGREE)
START = Pose(1.0, 1.0, 0.0)
TRACK, STEP, STEP_NS = 0.36, 0.02, 20_000_000


class Driving:
    """A filter fed step by step, with a heading reading every third step unless the test says otherwise."""

    def __init__(self, errors=ERRORS, start=START):
        self.filter = PoseFilter(start, TRACK, errors)
        self.now_ns = 0

    def roll(self, left, right, steps=1):
        """Turn the wheels by so many metres a second, without any heading reading."""
        for _ in range(steps):
            self.now_ns += STEP_NS
            self.filter.drive(left * STEP, right * STEP, STEP, self.now_ns)

    def see(self, angle, rate=None, age_ns=0):
        return self.filter.see_heading(angle, rate, self.now_ns - age_ns)

    def see_later(self, angle):
        """See an angle so much later that it is looked at."""
        self.now_ns += HEADING_EVERY_NS
        return self.see(angle)

    def guided(self, left, right, angle, rate, steps):
        """Turn the wheels while the sensor tells heading and rate."""
        for _ in range(steps):
            self.see(angle, rate)
            self.roll(left, right)

    @property
    def matrix(self):
        xx, xy, xt, yy, yt, tt = self.filter.covariance(self.now_ns)
        return np.array([[xx, xy, xt], [xy, yy, yt], [xt, yt, tt]])


class TestCovariance:
    legs = st.lists(st.tuples(st.floats(-0.5, 0.5), st.floats(-0.5, 0.5)), min_size=1, max_size=30)

    @given(
        legs=legs,
        seen=st.lists(st.none() | st.tuples(st.floats(-3.2, 3.2), st.none() | st.floats(-2.0, 2.0)), max_size=30),
    )
    def test_it_is_symmetric_and_positive_whatever_comes(self, legs, seen):
        driving = Driving()
        for index, (left, right) in enumerate(legs):
            driving.roll(left, right)
            if index < len(seen) and seen[index] is not None:
                driving.see(*seen[index])
            assert np.linalg.eigvalsh(driving.matrix).min() > -1e-12
            assert driving.filter.position_doubt.worst > 0.0

    @given(legs=legs, heading=st.floats(-3.0, 3.0))
    def test_its_jacobian_by_heading_is_the_central_difference(self, legs, heading):
        """With an error of the start's heading alone, P' is F F^T sigma^2 in x and y."""
        sigma, nudge = 1e-3, 1e-5
        errors = Errors((0.0, 0.0, sigma), 0.0, 0.03, 0.0, turn_centre=(0.0, 0.0), centre_moves=0.0, scrub=0.0)
        ends = []
        for turned in (-nudge, 0.0, nudge):
            driving = Driving(errors, Pose(0.0, 0.0, heading + turned))
            for left, right in legs:
                driving.roll(left, right)
            ends.append(driving)
        dx, dy = ((ends[2].filter.pose[axis] - ends[0].filter.pose[axis]) / (2.0 * nudge) for axis in (0, 1))
        scale_x, scale_y = ends[1].filter.x, ends[1].filter.y  # the odometer's scale error works along the way gone
        xx, xy, _, yy, _, _ = ends[1].filter.covariance(ends[1].now_ns)
        along = SCALE_SIGMA**2
        assert xx == pytest.approx(dx * dx * sigma**2 + scale_x**2 * along, abs=1e-10)
        assert xy == pytest.approx(dx * dy * sigma**2 + scale_x * scale_y * along, abs=1e-10)
        assert yy == pytest.approx(dy * dy * sigma**2 + scale_y**2 * along, abs=1e-10)

    def test_it_grows_with_the_way_and_not_with_standing(self):
        driving = Driving()
        driving.guided(0.0, 0.0, 0.0, 0.0, 100)
        standing = driving.filter.position_doubt.worst
        driving.guided(0.3, 0.3, 0.0, 0.0, 200)
        driving.see(0.0)
        assert standing == pytest.approx(0.02, rel=0.01)
        assert driving.filter.position_doubt.worst > 1.5 * standing

    def test_without_heading_it_grows_faster(self):
        with_heading, without = Driving(), Driving()
        with_heading.guided(0.2, 0.3, 0.0, 0.1 / TRACK, 20)
        without.roll(0.2, 0.3, 20)
        assert without.matrix[2, 2] > with_heading.matrix[2, 2]

    def test_travel_that_was_not_measured_widens_it(self):
        driving = Driving()
        before = driving.matrix
        driving.filter.lost(0.1)
        assert driving.matrix[0, 0] == pytest.approx(before[0, 0] + 0.01)
        assert driving.matrix[2, 2] > before[2, 2]

    def test_old_counts_widen_it(self):
        driving = Driving()
        driving.roll(0.4, 0.4, 50)
        fresh, old = (driving.filter.covariance(driving.now_ns + age)[0] for age in (0, 200_000_000))
        assert old > fresh


class TestGate:
    def test_an_outlier_is_refused_and_counted(self):
        driving = Driving()
        driving.guided(0.0, 0.0, 0.0, 0.0, 50)
        before = driving.filter.pose
        assert not driving.see(1.0)
        assert driving.filter.pose == before
        assert driving.filter.sources["heading"].refused == 1

    def test_after_so_many_in_a_row_the_filter_doubts_itself(self):
        """No turn rate tells: the robot was turned by hand, rather than the sensor, and the heading covers both."""
        driving = Driving()
        driving.guided(0.0, 0.0, 0.0, 0.0, 50)
        answers = [driving.see_later(1.0) for _ in range(40)]
        assert answers[:REFUSALS_BEFORE_DOUBT] == [False] * REFUSALS_BEFORE_DOUBT
        assert answers[-1]
        assert driving.filter.heading == pytest.approx(0.8, abs=0.1)
        assert driving.filter.sigmas[2] > 0.2

    def test_outliers_now_and_then_do_not_bring_it_there(self):
        driving = Driving()
        for _ in range(50):
            driving.guided(0.0, 0.0, 0.0, 0.0, REFUSALS_BEFORE_DOUBT - 1)
            driving.see(2.0)
        assert abs(driving.filter.heading) < 0.01


class TestSlips:
    def test_what_is_taken_out_again_and_again_is_wrong_to_the_same_side(self):
        """One side counts two fifths too much: what the gate leaves of it is no noise that averages out."""
        healthy, driving = Driving(), Driving()
        for _ in range(500):
            healthy.guided(0.2, 0.2, 0.0, 0.0, 1)
            driving.guided(0.28, 0.2, 0.0, 0.0, 1)
        assert driving.filter.slips > 100
        taken_out = 500 * 0.5 * 0.08 * STEP
        assert 0.2 * taken_out < math.sqrt(driving.matrix[0, 0]) < taken_out
        assert math.sqrt(healthy.matrix[0, 0]) < 0.5 * math.sqrt(driving.matrix[0, 0])


class TestTakeBack:
    def test_the_estimate_is_where_it_was_and_as_unsure_as_it_was_moved(self):
        driving = Driving()
        driving.guided(0.0, 0.0, 0.0, 0.0, 50)
        before, variance = driving.filter.pose, driving.matrix[0, 0]
        driving.filter.take_back([-0.3, 0.0, 0.1, *[0.0] * (STATES - 3)])
        assert driving.filter.pose == pytest.approx((before.x + 0.3, before.y, before.heading - 0.1))
        assert driving.matrix[0, 0] == pytest.approx(variance + 0.09)
        assert driving.matrix[0, 2] == pytest.approx(-0.03, abs=1e-3)


class TestBias:
    def test_a_bias_of_the_place_is_not_taken_for_the_heading_forever(self):
        """Many readings at one place are one witness: the heading stays as unsure as the place's bias is."""
        errors = ERRORS._replace(heading_bias=5.0 * DEGREE)
        driving = Driving(errors)
        driving.guided(0.0, 0.0, 4.0 * DEGREE, 0.0, 500)
        assert driving.filter.sigmas[2] > 2.0 * DEGREE
        assert abs(driving.filter.heading) < 2.5 * DEGREE

    def test_at_other_places_other_witnesses_speak(self):
        """Over some metres of way the bias of the place averages out; standing still it never does."""
        errors = ERRORS._replace(heading_bias=5.0 * DEGREE)
        standing, driving = Driving(errors), Driving(errors)
        standing.guided(0.0, 0.0, 0.0, 0.0, 800)
        driving.guided(0.4, 0.4, 0.0, 0.0, 800)
        assert driving.filter.sigmas[2] < 0.9 * standing.filter.sigmas[2]


class TestSlip:
    @pytest.mark.parametrize("slipping", ["left", "right"])
    def test_a_slipping_side_is_seen_and_taken_out(self, slipping):
        """One side spins half as fast again; the sensor tells that the robot does not turn."""
        driving = Driving()
        left, right = (0.45, 0.3) if slipping == "left" else (0.3, 0.45)
        driving.guided(0.3, 0.3, 0.0, 0.0, 50)
        start = driving.filter.x
        driving.guided(left, right, 0.0, 0.0, 50)
        assert driving.filter.slips >= 49
        assert driving.filter.x - start == pytest.approx(0.3, abs=0.02)
        assert driving.filter.y == pytest.approx(1.0, abs=0.01)

    def test_backwards_too(self):
        driving = Driving()
        driving.guided(-0.3, -0.45, 0.0, 0.0, 50)
        assert driving.filter.x - 1.0 == pytest.approx(-0.3, abs=0.02)

    def test_a_slip_widens_the_covariance(self):
        slipped, held = Driving(), Driving()
        slipped.guided(0.45, 0.3, 0.0, 0.0, 50)
        held.guided(0.3, 0.3, 0.0, 0.0, 50)
        assert slipped.matrix[0, 0] > 1.02 * held.matrix[0, 0]

    def test_a_turn_that_the_sensor_confirms_is_no_slip(self):
        driving = Driving()
        rate = 0.3 / TRACK
        for step in range(100):
            driving.guided(-0.15, 0.15, rate * step * STEP, rate, 1)
        assert driving.filter.slips == 0

    def test_a_turn_in_a_gap_of_the_counts_is_no_slip(self):
        """At its end the robot stands again: that it does not turn now says nothing of the seconds before."""
        driving = Driving()
        driving.guided(0.0, 0.0, 0.0, 0.0, 10)
        driving.now_ns += 3_000_000_000
        driving.see(1.7, rate=0.0)
        driving.filter.drive(-0.3, 0.3, 3.0, driving.now_ns)
        x, y, heading = driving.filter.pose
        assert (x, y) == pytest.approx((START.x, START.y), abs=0.01)
        assert heading == pytest.approx(0.6 / TRACK, abs=0.1)
        assert driving.filter.slips == 0

    def test_what_was_driven_and_turned_in_a_gap_is_unsure_by_when(self):
        turned, straight = Driving(), Driving()
        turned.filter.drive(0.1, 0.5, 3.0, 3_000_000_000)
        straight.filter.drive(0.3, 0.3, 3.0, 3_000_000_000)
        for driving in (turned, straight):
            driving.filter.propagate()
        assert turned.filter.position_doubt.worst > straight.filter.position_doubt.worst + 0.05

    def test_the_effective_track_is_learned_while_turning(self):
        """The floor makes the base turn as if it were 1.9 times as wide as thought."""
        driving = Driving()
        rate = 0.5 / (1.2 * TRACK)
        for step in range(300):
            driving.guided(-0.25, 0.25, math.remainder(rate * step * STEP, math.tau), rate, 1)
        assert driving.filter.track == pytest.approx(1.2 * TRACK, rel=0.02)


class TestTime:
    def test_a_late_heading_is_held_against_the_pose_of_its_time(self):
        """A reading of 200 ms ago, right then, changes nothing though the robot has turned since."""
        driving = Driving()
        driving.roll(-0.2, 0.2, 20)
        then = driving.filter.heading
        driving.roll(-0.2, 0.2, 10)
        now = driving.filter.heading
        driving.see(then, age_ns=10 * STEP_NS)
        assert driving.filter.heading == pytest.approx(now, abs=1e-9)
        assert now - then == pytest.approx(0.4 / TRACK * 0.2)

    def test_between_two_remembered_poses_by_proportion(self):
        driving = Driving()
        driving.roll(0.3, 0.3, 10)
        half = driving.filter.at(driving.now_ns - STEP_NS // 2)
        assert half.x == pytest.approx(driving.filter.x - 0.003)

    def test_across_the_turn_by_the_short_way(self):
        driving = Driving(start=Pose(0.0, 0.0, math.pi - 0.002))
        driving.roll(-0.2, 0.2, 2)
        between = driving.filter.at(STEP_NS + STEP_NS // 2)
        assert abs(math.remainder(between.heading - math.pi, math.tau)) < 0.05

    def test_after_the_last_counts_it_is_carried_on_for_a_while(self):
        driving = Driving()
        driving.roll(0.3, 0.3, 10)
        ahead = [driving.filter.pose_at(driving.now_ns + age).x - driving.filter.x for age in (0, 20_000_000, 10**9)]
        assert ahead == pytest.approx([0.0, 0.006, 0.03])

    def test_what_is_older_than_memory_is_the_oldest_pose(self):
        driving = Driving()
        driving.roll(0.3, 0.3, 200)
        assert driving.filter.at(0).x > 1.0

    def test_a_returning_heading_makes_no_jump_in_position(self):
        driving = Driving()
        driving.guided(0.3, 0.3, 0.0, 0.0, 100)
        driving.roll(0.29, 0.31, 250)
        before = driving.filter.pose
        driving.see(before.heading - 3.0 * DEGREE, 0.0)
        assert math.dist(before[:2], driving.filter.pose[:2]) < 0.1


class TestOtherDoors:
    """Moved by what is no pair of wheels: one side alone, or a way and a change of heading from anywhere."""

    @pytest.mark.parametrize("is_left", [True, False])
    def test_one_side_beside_a_turn_rate_goes_the_same_way(self, is_left):
        both, one = Driving(), Driving()
        rate = 0.1 / TRACK
        for driving in (both, one):
            driving.see(0.0, rate)
        both.filter.drive(0.2 * STEP, 0.3 * STEP, STEP, STEP_NS)
        one.filter.drive_by_one((0.2 if is_left else 0.3) * STEP, is_left, STEP, STEP_NS)
        assert one.filter.pose == pytest.approx(both.filter.pose)
        assert one.filter.covariance(STEP_NS)[0] > both.filter.covariance(STEP_NS)[0]

    def test_one_side_without_a_turn_rate_is_humble(self):
        driving = Driving()
        driving.filter.drive_by_one(0.1, True, 1.0, 10**9)
        assert driving.filter.covariance(10**9)[5] > (0.1 / TRACK) ** 2

    def test_a_way_and_a_change_of_heading(self):
        driving = Driving(start=Pose(0.0, 0.0, 0.0))
        driving.filter.go(1.0, 0.4, 0.01, 1.0, 10**9)
        assert driving.filter.pose == pytest.approx((math.cos(0.2), math.sin(0.2), 0.4))
        assert driving.matrix[2, 2] == pytest.approx(ERRORS.start[2] ** 2 + 0.01)

    def test_a_turn_that_was_not_measured_widens_the_heading_alone(self):
        driving = Driving()
        before = driving.matrix
        driving.filter.lost_heading(0.5)
        assert driving.matrix[2, 2] == pytest.approx(before[2, 2] + 0.25)
        assert driving.matrix[0, 0] == before[0, 0]
