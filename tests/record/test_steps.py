"""A run's steps come back from its record as the core was given them, to the last bit and of the same types."""

import json
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.core import Action, StepReadings, StepRecord
from rover.devices.families import FAMILIES
from rover.devices.readings import (
    BatteryValue,
    Detection,
    Detections,
    DriveCommand,
    Fault,
    HeadingValue,
    JawsCommand,
    JawsValue,
    RangeValue,
    Reading,
    StopInputValue,
    WheelCounts,
)
from rover.files.load import load
from rover.record.run import RecordError
from rover.record.steps import AT_REST, LIMP, Commands, StepRows, Unheld, reading_text, reading_value, steps
from rover.record.writer import RunRecord

CART = load(Path(__file__).parents[2] / "config/cart.yaml", "robot").model
NUMBERS = st.floats(allow_nan=False)
UNKNOWN = st.none() | NUMBERS
VALUES = {
    "counts": st.builds(WheelCounts, st.integers(), st.integers(), st.integers(0)),
    "heading": st.builds(HeadingValue, NUMBERS, UNKNOWN, st.none() | st.integers(0, 3)),
    "range": st.builds(RangeValue, UNKNOWN),
    "battery": st.builds(BatteryValue, NUMBERS, UNKNOWN),
    "gripper": st.builds(JawsValue, UNKNOWN, st.none() | st.booleans()),
    "stop_input": st.builds(StopInputValue, st.booleans()),
    "camera": st.builds(
        Detections,
        st.lists(st.builds(Detection, st.text(), *[NUMBERS] * 5), max_size=3).map(tuple),
    ),
}


@given(st.sampled_from(sorted(VALUES)).flatmap(lambda name: st.tuples(st.just(name), VALUES[name] | faults())))
def test_what_a_device_reports_comes_back_as_it_was(reported):
    name, value = reported
    again = reading_value(FAMILIES[name].value, reading_text(name, value))
    assert (again, type(again), repr(again)) == (value, type(value), repr(value))


def faults():
    return st.builds(Fault, st.text())


@pytest.mark.parametrize("value", [{"pressed": True, "depth": 3.5}, {"light": "dark"}, {}, {"gone": None}])
def test_so_does_what_a_device_of_no_family_reports(value):
    assert reading_value(None, reading_text("bumper", value)) == value


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("range", (0.5,)),  # no RangeValue, and refused: it must not come back as one
        ("range", [0.5]),
        ("camera", Detections((("amber", 0.1, 1.0, 0.01, 0.05, 0.2),))),
        ("camera", Detections([])),
        ("bumper", {3: True}),
    ],
)
def test_what_the_record_could_not_tell_again_is_kept_as_python_writes_it(name, value):
    again = reading_value(FAMILIES[name].value if name in FAMILIES else None, reading_text(name, value))
    assert again == Unheld(repr(value))
    assert repr(again) == repr(value)


def test_steps_come_back_with_readings_actions_faults_and_commands(tmp_path):
    given = [
        StepReadings(20, [("battery", Reading(3, 1, BatteryValue(12.5))), ("guard", Reading(4, 1, ("?", 1)))], [], []),
        StepReadings(40, [], [], []),
        StepReadings(60, [], [("record", "no room"), ("range", "")], [Action("lapse", "x"), Action("answer", "yes")]),
        StepReadings(80, [("range", Reading(70, 9, RangeValue(Fraction(1, 2))))], [], []),
    ]
    drives = [DriveCommand(0.0, 0.0, 1, 9), DriveCommand(0.25, -0.1, 2, 9), DriveCommand(0.25, -0.1, 3, 9)]
    jaws = [None, JawsCommand(None, 1, 9), JawsCommand(0.5, 2, 9)]
    commands = zip([*drives, drives[2]], [*jaws, jaws[2]], strict=True)
    decided = [StepRecord(0, drive, jaw, "", (), None) for drive, jaw in commands]
    record, rows = RunRecord.create(tmp_path / "run.sqlite", {}), StepRows()
    for one, what in zip(given, decided, strict=True):
        record.readings(one.now_ns, rows.of(one, what))
    record.finish("done", "", {})

    first, second, third, fourth = steps(tmp_path / "run.sqlite", CART)

    assert first.given == given[0]._replace(new=[given[0].new[0]])
    assert [first.commands, second.commands] == [AT_REST, Commands(0.25, -0.1, LIMP)]
    assert (second.given, third.given) == (given[1], given[2])
    assert third.commands == fourth.commands == Commands(0.25, -0.1, 0.5)
    assert fourth.unheld == ("range",)


def test_a_row_that_is_damaged_is_one_clear_line(tmp_path):
    path = tmp_path / "run.sqlite"
    record = RunRecord.create(path, {})
    record.readings(20, [("operator", Reading(3, 1, "no action")), ("operator", Reading(3, 1, 5))])
    record.finish("done", "", {})
    with pytest.raises(RecordError, match=rf"^{path}: damaged: its readings cannot be read on: "):
        list(steps(path, CART))
    assert json.loads(reading_text("operator", Action("stop", "x"))) == ["stop", "x"]
