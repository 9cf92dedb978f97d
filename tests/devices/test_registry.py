"""Drivers by their names, and the fakes that play a script, named in a robot file or made in Python."""

import pytest

import rover.bench  # noqa: F401 - it registers the stand-ins
from rover.devices.battery.scripted import Battery
from rover.devices.drive.scripted import Drive
from rover.devices.families import FAMILIES
from rover.devices.keys import SCRIPTED
from rover.devices.protocols import Actuator, Sensor
from rover.devices.readings import (
    BatteryValue,
    Detections,
    DriveCommand,
    JawsValue,
    RangeValue,
    StopInputValue,
    WheelCounts,
)
from rover.devices.registry import LoadError, load_driver

SECOND = 1_000_000_000
GUARDED = [("drive", "co_processor"), ("drive", "h_bridge")]
NAMES = [(family, name) for family, one in FAMILIES.items() for name in one.keys.names()]
LOADED = [pair for pair in NAMES if pair not in GUARDED]


def played(driver, times):
    return [(reading.taken_ns, reading.value) for now in times for reading in driver.poll(now)]


def test_entries_are_due_from_the_first_poll_on():
    battery = Battery({"script": [[0.0, 12.4, 1.5], [2.0, 9.8]]})
    assert played(battery, [5 * SECOND, 6 * SECOND]) == [(5 * SECOND, BatteryValue(12.4, 1.5))]
    assert played(battery, [9 * SECOND, 10 * SECOND]) == [(7 * SECOND, BatteryValue(9.8))]


@pytest.mark.parametrize(
    ("family", "entry", "value"),
    [
        ("counts", [0.0, 5, -3], WheelCounts(5, -3)),
        ("range", [0.0], RangeValue(None)),
        ("range", [0.0, 1.5], RangeValue(1.5)),
        ("camera", [0.0], Detections(())),
        ("gripper", [0.0, 0.5, True], JawsValue(0.5, True)),
        ("stop_input", [0.0, False], StopInputValue(False)),
    ],
)
def test_each_family_plays_its_own_values(family, entry, value):
    assert played(load_driver(family, SCRIPTED)({"script": [entry]}), [0]) == [(0, value)]


def test_times_that_go_back_are_refused():
    with pytest.raises(ValueError, match="put its entries in order"):
        load_driver("range", SCRIPTED)({"script": [[1.0], [0.5]]})


def test_a_closed_one_reports_no_more():
    battery = Battery({"script": [[0.0, 12.0]]})
    battery.close()
    assert played(battery, [0]) == []


def test_actuators_keep_what_they_are_told():
    drive = Drive({})
    first, late, second = (
        DriveCommand(0.5, 0.25, sequence, expires_ns) for sequence, expires_ns in enumerate((9, 5, 9))
    )
    for command in (first, late, second):
        drive.apply(command, 5)
    drive.close()
    assert drive.commands == [(5, first), (5, second)]


@pytest.mark.parametrize("family", FAMILIES)
def test_every_family_has_a_fake_that_is_a_driver(family):
    driver = load_driver(family, SCRIPTED)({"script": []})
    assert isinstance(driver, Actuator if family in ("drive", "gripper") else Sensor)


@pytest.mark.parametrize(("family", "name"), LOADED)
def test_every_built_in_name_leads_to_a_class(family, name):
    assert isinstance(load_driver(family, name), type)


@pytest.mark.parametrize(("family", "name"), GUARDED)
def test_what_the_motor_guard_drives_is_not_to_be_had_elsewhere(family, name):
    with pytest.raises(LoadError, match="driven by the motor guard, which 'rover run' starts"):
        load_driver(family, name)
