import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.calibrate import drive
from rover.calibrate.findings import CalibrationError
from rover.calibrate.practice import WALL_AT, BenchAssistant, true_geometry
from rover.calibrate.runs import Geometry, WheelCountSeries
from rover.devices.readings import WheelCounts

SEEDS_OF_THE_SUITE = (1, 12, 20)
SEEDS = range(1, 21)
START = Geometry(0.0002, 0.0002, 0.36)


def counts(*legs):
    """Return a track of counts by (left, right) travel in counts."""
    left, right = (np.cumsum([0.0, *side]) for side in zip(*legs, strict=True))
    return WheelCountSeries(np.arange(len(left)), left, right)


def driven(truth, side=1.0):
    """Return what a robot of a known geometry would measure, driving exactly as told, and a tape without error."""
    straight = counts((2.0 / truth.left, 2.0 / truth.right))
    way = truth.track / 2.0

    def spin(angle):
        return counts((-angle * way / truth.left, angle * way / truth.right))

    def square(sign):
        turn = sign * math.pi / 2.0 * way
        return counts(*[(side / truth.left, side / truth.right), (-turn / truth.left, turn / truth.right)] * 4)

    return drive.DriveMeasurements(
        [drive.StraightRun(straight, 2.0)],
        [drive.SpinRun(spin(angle), angle) for angle in (12.0, -12.0)],
        [drive.SquareRun(square(sign), sign, 0.0, 0.0) for sign in (1.0, -1.0)],
        side,
    )


@given(factor=st.floats(1.1, 2.0), wheels=st.floats(0.95, 1.05), scale=st.floats(0.85, 1.2))
def test_what_a_perfect_robot_measures_gives_its_geometry_back(factor, wheels, scale):
    truth = Geometry(0.0002 * scale, 0.0002 * scale * wheels, 0.24 * factor)

    assert drive.solve(driven(truth), START) == pytest.approx(truth, rel=1e-6)


@pytest.mark.parametrize("factor", [1.2, 1.9])
def test_the_squares_alone_correct_a_wrong_track(factor):
    """Even where the turns on the spot are read 5 % wrong: repeated, the method comes to the truth."""
    truth = Geometry(0.0002, 0.000202, 0.24 * factor)
    measured = driven(truth)
    misread = measured._replace(spins=[spin._replace(angle=1.05 * spin.angle) for spin in measured.spins])

    assert drive.solve(misread, START) == pytest.approx(truth, rel=1e-6)


class TestOnTheBench:
    """From the bench's own readings and a tape good to 1 mm: the truth to 1 %."""

    def recover(self, seed, robot, stage):
        bench, drivetrain, assistant = stage(seed)
        found = drive.solve(drive.measure(drivetrain, assistant, robot), drive.geometry_of(robot))
        truth = true_geometry(bench)
        return found.right / found.left / (truth.right / truth.left), found.track / truth.track, found.left / truth.left

    @pytest.mark.parametrize("seed", SEEDS_OF_THE_SUITE)
    def test_wheels_and_track_to_one_per_cent(self, seed, robot, stage):
        assert self.recover(seed, robot, stage) == pytest.approx((1.0, 1.0, 1.0), abs=0.01)

    @pytest.mark.long
    @pytest.mark.parametrize("seed", SEEDS)
    def test_wheels_and_track_to_one_per_cent_over_twenty_seeds(self, seed, robot, stage):
        assert self.recover(seed, robot, stage) == pytest.approx((1.0, 1.0, 1.0), abs=0.01)

    def test_the_truth_is_that_of_the_bench(self, stage):
        """A straight run without bursts of slip: the counts times the true travel for one are the true way."""
        bench, drivetrain, _ = stage(5, floor={"slip_every": "0 s"})
        truth, last = true_geometry(bench), WheelCounts(0, 0)
        for duty in (0.6, 0.5):
            for _ in range(1000):
                for family, reading in drivetrain.step(duty, -duty):
                    last = reading.value if family == "counts" else last
        turned = (last.right * truth.right - last.left * truth.left) / truth.track
        turns = round((turned - bench.heading) / math.tau)

        assert turned == pytest.approx(bench.heading + turns * math.tau, rel=0.002)

    def test_a_floor_on_which_wheels_slip_at_every_try_is_told(self, robot, stage):
        _, drivetrain, assistant = stage(2, floor={"slip_every": "5 s"})
        found = drive.findings(drive.measure(drivetrain, assistant, robot), robot)

        assert "runs a wheel slipped at every try" in found.lines[-1]

    def test_the_same_seed_finds_the_same(self, robot, stage):
        assert self.recover(3, robot, stage) == self.recover(3, robot, stage)


class TestBadInput:
    """Each ends in one clear error, with the wheels commanded to stand."""

    @pytest.mark.parametrize("fault", ["drive silent", "counts stuck"])
    def test_wheels_that_do_not_turn_or_are_not_counted(self, fault, robot, stage):
        _, drivetrain, assistant = stage(faults=[f"at 0 s: {fault}"])

        with pytest.raises(CalibrationError, match="wheels do not turn, or are not counted"):
            drive.measure(drivetrain, assistant, robot)

    @pytest.mark.parametrize("side", ["left", "right"])
    def test_counts_that_run_backwards(self, side, robot, stage):
        bench, drivetrain, assistant = stage()

        class Reversed:
            def __getattr__(self, name):
                return getattr(drivetrain, name)

            def step(self, left, right):
                return [(f, self.turn(r) if f == "counts" else r) for f, r in drivetrain.step(left, right)]

            def turn(self, reading):
                return reading._replace(value=reading.value._replace(**{side: -getattr(reading.value, side)}))

        with pytest.raises(CalibrationError, match=f"the {side} counts run backwards: set 'reverse_{side}'"):
            drive.measure(Reversed(), assistant, robot)
        assert abs(bench.x) < 0.3

    def test_something_in_the_way_holds_the_robot_back(self, robot, stage):
        """The wall of the bench, 44 cm before the jaws: it stops short of it, and says why."""
        bench, drivetrain, _ = stage()
        bench.x = WALL_AT - 0.6

        class Careless(BenchAssistant):
            def ready(self, what):
                self._mark = bench.pose

        with pytest.raises(CalibrationError, match="held back by: obstacle"):
            drive.measure(drivetrain, Careless(bench), robot)
        assert not bench.contacts()

    def test_no_heading_sensor(self, fitted, stage):
        robot = fitted(heading=None)
        _, drivetrain, assistant = stage(robot=robot)

        with pytest.raises(CalibrationError, match="no heading sensor"):
            drive.measure(drivetrain, assistant, robot)

    @pytest.mark.parametrize("at", ["0 s", "5 s"])
    def test_a_heading_sensor_that_is_silent(self, at, robot, stage):
        _, drivetrain, assistant = stage(faults=[f"at {at}: heading silent"])

        with pytest.raises(CalibrationError, match="the heading sensor is silent"):
            drive.measure(drivetrain, assistant, robot)

    @pytest.mark.parametrize(
        ("typed", "why"),
        [(0.0, "above zero"), (-2.0, "above zero"), (0.2, "look at the unit"), (20.0, "look at the unit")],
    )
    def test_a_tape_length_that_cannot_be_meant(self, typed, why, robot, stage):
        bench, drivetrain, _ = stage()

        class Typist(BenchAssistant):
            def length(self, expected):
                return typed

        with pytest.raises(CalibrationError, match=why):
            drive.measure(drivetrain, Typist(bench), robot)

    def test_a_place_of_return_that_cannot_be_meant(self, robot, stage):
        bench, drivetrain, _ = stage()

        class Typist(BenchAssistant):
            def return_error(self, side):
                return 12.0, 3.0

        with pytest.raises(CalibrationError, match="m left of the mark, on a square of 1 m: look at the unit"):
            drive.measure(drivetrain, Typist(bench), robot)

    def test_a_heading_sensor_that_counts_clockwise(self):
        measured = driven(Geometry(0.0002, 0.0002, 0.36))
        wrong = [spin._replace(angle=-spin.angle) for spin in measured.spins]

        with pytest.raises(CalibrationError, match="rover calibrate ROBOT heading"):
            drive.solve(measured._replace(spins=wrong), START)
