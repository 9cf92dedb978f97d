import pytest

from rover.calibrate import gripper
from rover.calibrate.findings import CalibrationError
from rover.calibrate.gripper import FeedbackSample, GripperMeasurements
from rover.calibrate.practice import BenchAssistant

FILE = {"driver": "servo_pins", "feedback_file": "in_voltage1_raw"}
OPEN = [FeedbackSample(900.0, None)] * 3
NOTHING = [FeedbackSample(raw, False) for raw in (100.0, 102.0, 98.0)]
SOMETHING = [FeedbackSample(raw, True) for raw in (400.0, 405.0, 395.0)]


def changes(measured, robot):
    return {change.key[-1]: change.after for change in gripper.findings(measured, robot).changes}


def test_pulses_that_were_found_go_into_the_file(robot):
    assert changes(GripperMeasurements(0.00185, 0.00115), robot) == {"open": "1850 us", "closed": "1150 us"}


def test_position_feedback_gets_its_ends(fitted):
    robot = fitted(gripper=FILE | {"feedback": "position", "reads_closed": 120.0, "reads_open": 900.0})

    assert changes(GripperMeasurements(0.0019, 0.0011, OPEN, NOTHING, SOMETHING), robot) == {"reads_closed": "100"}


def test_current_feedback_gets_a_threshold_midway(fitted):
    robot = fitted(gripper=FILE | {"feedback": "current", "holds_above": 200.0})

    assert changes(GripperMeasurements(0.0019, 0.0011, OPEN, NOTHING, SOMETHING), robot) == {"holds_above": "250"}


def test_numbers_that_cannot_be_told_apart_propose_nothing(fitted):
    robot = fitted(gripper=FILE | {"feedback": "current", "holds_above": 200.0})
    alike = GripperMeasurements(0.0019, 0.0011, OPEN, NOTHING, NOTHING)

    assert changes(alike, robot) == {}
    assert any("too close together to tell" in line for line in gripper.findings(alike, robot).lines)


@pytest.mark.parametrize(
    ("nothing", "something", "apart"),
    [((1.0, 2.0), (8.0, 9.0), True), ((8.0, 9.0), (1.0, 2.0), True), ((1.0, 5.0), (4.0, 9.0), False)],
)
def test_two_groups_are_apart_when_they_do_not_overlap(nothing, something, apart):
    assert gripper.is_apart(nothing, something) is apart


@pytest.mark.parametrize("pulse", [0.0, 0.0004, 0.0026, 1.5])
def test_a_pulse_that_no_servo_takes(pulse):
    with pytest.raises(CalibrationError, match="between 500 us and 2500 us"):
        gripper.check_pulse(pulse)


def test_the_widened_gripper_sends_every_pulse_as_fast_as_before(robot):
    wide = gripper.widened(robot)
    before, after = robot.devices.gripper, wide.devices.gripper

    assert gripper.opening_at(0.0005, wide) == 0.0
    assert gripper.opening_at(0.0025, wide) == 1.0
    speeds = [abs(one.open - one.closed) / one.travel_time for one in (before, after)]
    assert speeds[0] == pytest.approx(speeds[1])
    assert after.on_stop == "limp"


def test_on_the_bench_closed_on_a_jar_is_told_from_closed_on_nothing(fitted, stage):
    robot = fitted(gripper={"feedback": "position"})
    _, drivetrain, assistant = stage(robot=robot, gripper={"missed": 0})
    measured = gripper.measure(drivetrain, assistant, robot)

    assert [felt.holding for felt in measured.nothing] == [False] * gripper.CLOSINGS
    assert [felt.holding for felt in measured.something] == [True] * gripper.CLOSINGS
    assert gripper.is_apart([felt.raw for felt in measured.nothing], [felt.raw for felt in measured.something])


def test_open_and_closed_must_differ(robot, stage):
    bench, drivetrain, _ = stage()

    class Careless(BenchAssistant):
        def pulse(self, jaws, present, attempt):
            return 0.0015

    with pytest.raises(CalibrationError, match="less than 50 us apart"):
        gripper.measure(drivetrain, Careless(bench), robot)


def test_no_gripper(fitted, stage):
    robot = fitted(gripper=None)
    _, drivetrain, assistant = stage(robot=robot)

    with pytest.raises(CalibrationError, match="no gripper"):
        gripper.measure(drivetrain, assistant, robot)
