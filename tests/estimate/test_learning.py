"""What the pose filter learns of the base and of its sensors: turn centre, track, coarse counts, noise, doubt."""

import math
import random

import pytest

from rover.estimate.contradictions import ENOUGH, Off, Witness
from rover.estimate.covariance import Covariance, Errors
from rover.estimate.pose import PoseFilter
from rover.geometry import Pose

DEGREE = math.pi / 180.0
ERRORS = Errors(start=(0.02, 0.02, 3.0 * DEGREE), growth=3e-4, heading_noise=2.0 * DEGREE, heading_bias=1.0 * DEGREE)
TRACK, STEP, STEP_NS = 0.36, 0.02, 20_000_000


class Driving:
    """A filter fed step by step."""

    def __init__(self, errors=ERRORS, turn_centre=(0.0, 0.0)):
        self.filter = PoseFilter(Pose(0.0, 0.0, 0.0), TRACK, errors, turn_centre)
        self.now_ns = 0

    def roll(self, left, right):
        """Turn the wheels by so many metres a second for a step."""
        self.now_ns += STEP_NS
        self.filter.drive(left * STEP, right * STEP, STEP, self.now_ns)

    def see(self, angle, rate=None):
        return self.filter.see_heading(angle, rate, self.now_ns)

    def guided(self, left, right, angle, rate, steps):
        """Turn the wheels while the sensor tells heading and rate."""
        for _ in range(steps):
            self.see(angle, rate)
            self.roll(left, right)

    @property
    def lateral_variance(self):
        return self.filter.covariance(self.now_ns)[3]


class TestTurnCentre:
    """A skid-steer base turns about a point of its own, and the filter finds out where that is."""

    CENTRE = (0.02, -0.008)

    def spin_and_fix(self, errors, turn_centre=(0.0, 0.0), turns=12):
        """Turn on the spot by eighths about `CENTRE`; the place is fixed by either axis after each, to a centimetre."""
        driving = Driving(errors, turn_centre)
        ahead, left = self.CENTRE
        for eighth in range(1, 8 * turns + 1):
            for step in range(50):
                angle = (eighth - 1 + step / 50) * math.pi / 4.0
                driving.guided(-0.5 * TRACK * math.pi / 4.0, 0.5 * TRACK * math.pi / 4.0, angle, math.pi / 4.0, 1)
            angle = eighth * math.pi / 4.0
            c, s = math.cos(angle), math.sin(angle)
            true = (ahead - ahead * c + left * s, left - ahead * s - left * c)
            for state, place, known in zip((0, 1), true, driving.filter.pose[:2], strict=True):
                driving.filter.correct(((state, 1.0),), place - known, 0.01**2)
        return driving.filter

    def test_it_is_found_by_fixes(self):
        found = self.spin_and_fix(ERRORS)
        assert (found.turn_ahead, found.turn_left) == pytest.approx(self.CENTRE, abs=0.002)

    def test_one_that_is_known_moves_the_middle_round_it(self):
        driving = Driving(turn_centre=self.CENTRE)
        for _ in range(100):
            driving.guided(
                -0.5 * TRACK * math.pi / 2.0, 0.5 * TRACK * math.pi / 2.0, driving.filter.heading, math.pi / 2.0, 1
            )
        assert driving.filter.pose[:2] == pytest.approx((0.04, -0.016), abs=1e-3)

    def test_where_nobody_knows_it_a_turn_makes_the_position_less_sure(self):
        known, unknown = (Driving(ERRORS._replace(turn_centre=(sigma, sigma))) for sigma in (0.0, 0.015))
        for driving in (known, unknown):
            driving.guided(-0.25, 0.25, 0.0, 0.5 / TRACK, 50)
        assert unknown.lateral_variance > known.lateral_variance + 1e-4


class TestLearning:
    def test_the_effective_track_is_learned_from_angles_alone(self):
        """0.36 m is thought, 0.278 m is true; the sensor tells no turn rate."""
        driving = Driving()
        turned, rate = 0.0, 0.5 / 0.278
        for step in range(1500):
            sign = 1.0 if step % 300 < 150 else -1.0
            turned += sign * rate * STEP
            driving.roll(-0.25 * sign, 0.25 * sign)
            driving.see(math.remainder(turned, math.tau))
        assert driving.filter.track == pytest.approx(0.278, rel=0.03)

    @pytest.mark.parametrize("counts_per_rev", [10, 20, 60])
    def test_coarse_counts_lose_no_way(self, counts_per_rev):
        """Half a lap of 20 m in curves, with a turn rate beside: to within two counts."""
        count = math.pi * 0.072 / counts_per_rev
        driving = Driving(ERRORS._replace(resolution=count))
        rolled, told, truth = [0.0, 0.0], [0, 0], PoseFilter(Pose(0.0, 0.0, 0.0), TRACK, ERRORS)
        for step in range(3000):
            speeds = (0.3, 0.3 + 0.1 * math.sin(step / 200.0))
            rate = (speeds[1] - speeds[0]) / TRACK
            rolled = [way + speed * STEP for way, speed in zip(rolled, speeds, strict=True)]
            ways = [(math.floor(way / count) - then) * count for way, then in zip(rolled, told, strict=True)]
            told = [math.floor(way / count) for way in rolled]
            driving.now_ns += STEP_NS
            for one in (truth, driving.filter):
                one.see_rate(rate, driving.now_ns)
            truth.drive(speeds[0] * STEP, speeds[1] * STEP, STEP, driving.now_ns)
            driving.filter.drive(*ways, STEP, driving.now_ns)
        assert driving.filter.slips == 0
        assert driving.filter.track == pytest.approx(TRACK, rel=0.03)
        assert math.dist(driving.filter.pose[:2], truth.pose[:2]) < 2.0 * count

    def test_speeds_by_coarse_counts_settle(self):
        count = math.pi * 0.072 / 20
        driving = Driving(ERRORS._replace(resolution=count))
        rolled, told, speeds = 0.0, 0, []
        for _ in range(200):
            rolled += 0.2 * STEP
            way, told = (math.floor(rolled / count) - told) * count, math.floor(rolled / count)
            driving.roll(way / STEP, way / STEP)
            speeds.append(driving.filter.speed)
        assert max(speeds[100:]) < 0.25
        assert min(speeds[100:]) > 0.15

    def test_noise_of_the_turn_rate_is_learned_where_the_robot_stands(self):
        draws, driving = random.Random(1), Driving()
        for _ in range(1500):
            driving.see(0.0, draws.gauss(0.0, math.radians(2.0)))
            driving.roll(0.0, 0.0)
        assert driving.filter._rates.growth == pytest.approx(math.radians(2.0) ** 2 * STEP, rel=0.3)


class TestDoubt:
    SLOPES = ((0, 1.0), (1, 0.0), (2, 0.0))

    def refuse(self, driving, innovation, way_each, times=120):
        for _ in range(times):
            driving.guided(way_each / STEP, way_each / STEP, 0.0, 0.0, 1)
            if driving.filter.hear("wall", self.SLOPES, innovation, 0.025**2):
                return True
            driving.filter.doubt("wall", self.SLOPES)
        return False

    def test_fixes_refused_over_a_way_win_in_the_end(self):
        assert self.refuse(Driving(), 0.5, 0.05)

    def test_where_a_second_witness_contradicts_they_win_sooner(self):
        alone, of_two = Driving(), Driving()
        for of in ("wall 1", "marker"):
            for _ in range(ENOUGH):
                of_two.filter.witness(Witness(of), Off((1.0, 0.0), 0.5, 0.03))
        assert self.refuse(of_two, 0.5, 0.05, 20)
        assert not self.refuse(alone, 0.5, 0.05, 20)

    def test_what_agrees_has_those_that_were_refused_begin_anew(self):
        driving = Driving()
        self.refuse(driving, 0.5, 0.05, 20)
        for _ in range(ENOUGH):
            driving.filter.witness(Witness("wall 1"), Off((1.0, 0.0), 0.5, 0.03))
        assert driving.filter.sources["wall"].refused_in_row
        driving.filter.witness(Witness("marker"), Off((1.0, 0.0), 0.02, 0.03))
        assert not driving.filter.sources["wall"].refused_in_row

    def test_standing_before_something_unknown_they_never_do(self):
        assert not self.refuse(Driving(), 0.5, 0.0)


class TestSensorThatErrs:
    """Steel pulls a heading sensor aside by more than anybody stated; the filter is not sure of what it tells."""

    def test_at_the_start_it_may_be_off_by_some_degrees(self):
        driving = Driving()
        driving.guided(0.0, 0.0, 5.0 * DEGREE, 0.0, 200)
        assert abs(driving.filter.heading) < 2.0 * driving.filter.sigmas[2]

    def test_how_far_places_pull_it_is_learned_in_some_metres(self):
        covariance = Covariance.at_start(ERRORS)
        for _ in range(3):
            covariance.learn_bias(6.0 * DEGREE, math.exp(-1.0))
        assert 3.0 * DEGREE < math.sqrt(covariance.bias_variance) < 6.0 * DEGREE
