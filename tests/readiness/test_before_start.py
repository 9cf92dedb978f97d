"""What is looked at before the first motion: what is measured and expected, the verdict, and what to do."""

from pathlib import Path

import pytest

from rover.behaviour.vocabulary import Signals
from rover.devices.readings import BatteryValue, Detections, HeadingValue, WheelCounts
from rover.files import yaml_source
from rover.files.robot import Robot
from rover.guard.protocol import Phase, State
from rover.readiness.before_start import ComputerState, StopTrial, computer_state, findings, is_ready
from rover.readiness.finding import Verdict, table
from rover.session.motion_start import DeviceStates

CART = Path(__file__).parents[2] / "config/cart.yaml"
SENSORS = frozenset({"battery", "camera", "counts", "heading", "range"})
LATEST = {
    "counts": WheelCounts(3, 4, 1),
    "heading": HeadingValue(0.5, 0.0, 3),
    "camera": Detections(()),
    "battery": BatteryValue(12.0, 1.0),
}


SOUND = ComputerState(10**10, True)


HELD = State(0, Phase.STOPPED, False, True, True, 0, 0, 0.0, 0.0, "", "", "the guard's deadline, the supervisor")


def rows(healthy=SENSORS, why=None, computer=SOUND, guard=HELD, **latest):
    robot = Robot.model_validate(yaml_source.read(CART, CART.name).values)
    signals = Signals()
    for family in healthy:
        setattr(signals, f"{family}_ok", True)
    devices = DeviceStates(signals)
    devices.latest, devices.why = LATEST | latest, why or {}
    return {row.check: row for row in findings(robot, guard, devices, 10.0, computer)}


def test_a_robot_in_order_has_no_row_that_is_not():
    found = rows()
    assert found.pop("all killed at once").verdict is Verdict.NOTED, "nothing of this software can help then"
    assert {row.verdict for row in found.values()} == {Verdict.AS_EXPECTED}
    assert set(found) == {*SENSORS, "heading's calibration", "battery at rest", "ways to zero", "free disk", "clock"}
    assert found["counts"].measured == "left 3, right 4, boot 1"


def test_a_device_that_says_nothing_is_named_with_its_place():
    row = rows(healthy=SENSORS - {"counts"})["counts"]
    assert row.verdict is Verdict.OTHERWISE
    assert row.measured == "no report that is fresh after 10 s"
    assert "'devices: counts:' (driver co_processor) and 'links: main:'" in "".join(row.advice)


def test_a_faulty_one_says_why():
    row = rows(healthy=SENSORS - {"range"}, why={"range": "its driver raised OSError: no bus"})["range"]
    assert row.measured == "its driver raised OSError: no bus"


@pytest.mark.parametrize(
    ("level", "verdict"), [(3, Verdict.AS_EXPECTED), (2, Verdict.NOTED), (1, Verdict.NOTED), (0, Verdict.OTHERWISE)]
)
def test_calibration(level, verdict):
    assert rows(heading=HeadingValue(0.0, 0.0, level))["heading's calibration"].verdict is verdict


def test_a_compass_that_tells_no_level_is_not_judged():
    assert "heading's calibration" not in rows(heading=HeadingValue(0.0, None, None))


def test_the_battery_is_judged_by_its_rest_voltage():
    """12.6 V full: 86 % are 10.84 V; 10.7 V under 1 A through 0.15 ohm are 10.85 V at rest."""
    row = rows(battery=BatteryValue(10.7, 1.0))["battery at rest"]
    assert (row.measured, row.expected, row.verdict) == ("10.85 V", "at least 10.84 V", Verdict.AS_EXPECTED)
    assert rows(battery=BatteryValue(10.7, 0.9))["battery at rest"].verdict is Verdict.OTHERWISE


@pytest.mark.parametrize(
    ("guard", "measured", "advice"),
    [
        (HELD._replace(ways_to_zero="the guard's deadline"), "the guard's deadline", "the motor guard's log"),
        (HELD._replace(watchdog_fault="/dev/watchdog is not there"), HELD.ways_to_zero, "/dev/watchdog is not there"),
        (None, "none", "the motor guard's log"),
    ],
    ids=["one way", "a watchdog that is named and not held", "silent"],
)
def test_only_the_ways_to_zero_that_the_guard_holds_count(guard, measured, advice):
    row = rows(guard=guard)["ways to zero"]
    assert (row.measured, row.verdict) == (measured, Verdict.OTHERWISE)
    assert row.advice[0].startswith(advice)


def test_a_full_disk_is_in_the_way_and_a_clock_is_not():
    found = rows(computer=ComputerState(10**6, False))
    assert (found["free disk"].verdict, found["clock"].verdict) == (Verdict.OTHERWISE, Verdict.NOTED)


def test_this_computer_tells_of_itself(tmp_path):
    assert computer_state(tmp_path).free > 0


def test_what_never_reports_is_not_waited_for():
    robot = Robot.model_validate(yaml_source.read(CART, CART.name).values)
    assert is_ready(robot, SENSORS)
    assert not is_ready(robot, SENSORS - {"camera"})


def test_advice_stands_below_its_row():
    lines = table(list(rows(healthy=SENSORS - {"camera"}).values()))
    index = next(index for index, line in enumerate(lines) if line.startswith("camera"))
    assert lines[index].endswith("NOT OK")
    assert lines[index + 1].startswith("  see 'devices: camera:'")


@pytest.mark.parametrize(
    ("seen", "done"),
    [("ccc", False), ("co", False), ("coc", True), ("oc", True), ("o", False)],
)
def test_the_stop_input_has_to_open_and_to_close(seen, done):
    trial = StopTrial()
    for state in seen:
        trial.see(state == "c")
    assert trial.is_done is done
