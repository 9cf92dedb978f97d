"""The fault schedule: what a line means, and what is said against one that means nothing."""

import math
import pickle
from pathlib import Path
from typing import Any

import pytest

from rover.devices.families import FAMILIES
from rover.files import yaml_source
from rover.files.bench import BenchFile
from rover.files.fault_table import FAULTS, NAMED, ReportsFault, RobotFault
from rover.files.faults import AtRandom, AtTime, OnEntering, losses_of, parse_fault

EVER = math.inf


def read(line: str) -> tuple[Any, ...]:
    fault = parse_fault(line)
    return fault.when, fault.of, fault.which, fault.fault.words, fault.place if any(fault.place) else fault.given


@pytest.mark.parametrize(
    ("line", "means"),
    [
        ("at 12 s: heading silent", (AtTime(12.0), "heading", "", "silent", 0.0)),
        ("at 1 min: range no echo", (AtTime(60.0), "range", "", "no echo", 0.0)),
        ("at 2 min: stop input open", (AtTime(120.0), "stop input", "", "open", 0.0)),
        ("at 2 s: stop_input open", (AtTime(2.0), "stop input", "", "open", 0.0)),
        ("at 0 s: counts jump of -400", (AtTime(0.0), "counts", "", "jump of", -400.0)),
        ("at 5 s: jar 3 moved to [1 m, 25 cm]", (AtTime(5.0), "jar", "3", "moved to", (1.0, 0.25))),
        ("at 0 s: wall north moved by [0 m, -10 cm]", (AtTime(0.0), "wall", "north", "moved by", (0.0, -0.1))),
        ("at 1 s: left motor weak by 30 %", (AtTime(1.0), "left motor", "", "weak by", 0.3)),
        ("at 1 s: camera late by 300 ms", (AtTime(1.0), "camera", "", "late by", 0.3)),
        ("on entering carry: range silent", (OnEntering("carry"), "range", "", "silent", 0.0)),
        ("on entering carry.turn every time: range silent", (OnEntering("carry/turn", 1), "range", "", "silent", 0.0)),
        ("on entering carry every 3rd time: range silent", (OnEntering("carry", 3), "range", "", "silent", 0.0)),
        ("at random every 40 s: held jar slips", (AtRandom(40.0), "held jar", "", "slips", 0.0)),
        ("at 1 s: left_range noisy by 20 cm", (AtTime(1.0), "left_range", "", "noisy by", 0.2)),
    ],
)
def test_a_line_is_read(line: str, means: tuple[Any, ...]) -> None:
    assert read(line) == means


@pytest.mark.parametrize(
    ("line", "lasts"),
    [
        ("at 12 s: heading silent for 3 s", 3.0),
        ("at 12 s: heading silent", EVER),
        ("on entering a every 2nd time: heading biased by 10 deg for 500 ms", 0.5),
        ("at 12 s: counts jump of 4", 0.0),
    ],
)
def test_a_line_says_how_long(line: str, lasts: float) -> None:
    assert parse_fault(line).lasts == lasts


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("heading silent", "write it as in 'at 12 s: heading silent for 3 s'"),
        (7, "'7' is no fault; write it as in 'at 12 s: heading silent for 3 s'"),
        ("at 12: heading silent", "after 'at': a bare number where a time is due"),
        ("at -1 s: heading silent", "after 'at': '-1 s' must not be negative"),
        ("at 1 s: heading silent for 3 m", "after 'for': '3 m' is a length"),
        ("at 1 s: heding slient", "did you mean 'heading'?"),
        ("at 1 s: heading frozen", "'frozen' is no fault of 'heading' (allowed: silent, stuck, late by <time>, "),
        ("at 1 s: heading slient", "did you mean 'silent'?"),
        ("at 1 s: counts jumps", "'jumps' is no fault of 'counts' (allowed: silent, late by <time>, "),
        ("at 1 s: counts jump of 4 for 2 s", "'counts jump of 4' happens at once; leave out 'for 2 s'"),
        ("at 1 s: counts jump of 4.5", "after 'jump of': '4.5' is no whole number"),
        ("at 1 s: jar 1 moved to [1, 2 m]", "a bare number where a length is due"),
        ("at 1 s: jar 1 moved to 2 m", "a point [x, y] is due here"),
        ("at 1 s: jar moved to [1 m, 2 m]", "which jar? Its number is due, as in 'jar 3 moved to [2 m, 1 m]'"),
        ("at 1 s: wall 3 moved by [1 m, 2 m]", "which wall? Its name is due, as in 'wall north moved by"),
        ("at 1 s: heading biased by", "'heading biased by': an angle is due, as in 'heading biased by 20 deg'"),
        ("at 1 s: heading biased by 3 cm", "after 'biased by': '3 cm' is a length, but an angle is due"),
        ("at 1 s: left motor weak by 130 %", "after 'weak by': '130 %' must lie between 0 % and 100 %"),
        ("at 1 s: range noisy by -5 cm", "after 'noisy by': '-5 cm' must not be negative"),
        ("at 1 s: range late by -1 s", "after 'late by': '-1 s' must not be negative"),
        ("at 1 s: runtime stalled", "'runtime stalled' comes to an end: say when, as in 'runtime stalled for 2 s'"),
        ("on leaving carry: range silent", "'on leaving carry' is no time for a fault; write 'at 12 s', 'on entering"),
        ("on entering carry every 2 times: range silent", "is no time for a fault"),
        ("on entering carry every 0th time: range silent", "there is no 0th time"),
        ("on entering Carry: range silent", "'Carry' is no state; write its path, such as 'carry' or 'carry/turn'"),
        ("at random: range silent", "'at random' lacks how often: write 'at random every 40 s'"),
        ("at random every 0 s: range silent", "after 'every': '0 s' must be more than zero"),
        ("at 1 s: left_range sleepy", "'left_range sleepy' is no fault"),
    ],
)
def test_a_wrong_line_says_what_is_wrong(line: Any, says: str) -> None:
    with pytest.raises(ValueError) as refused:  # noqa: PT011  the text is looked at below
        parse_fault(line)
    assert says in str(refused.value)


def test_yaml_reads_a_line_as_a_mapping_and_it_is_taken_all_the_same() -> None:
    text = "bench: Test\nfaults:\n  - at 12 s: heading silent for 3 s\n  - 'at 1 s: link silent'\n"
    file = BenchFile.model_validate(yaml_source.read_text(text, Path("b.yaml"), "b.yaml").values)
    assert [fault.device for fault in file.faults] == ["heading", "link"]


EVERY_FAULT = [(of, fault) for fault in FAULTS for of in fault.of]


@pytest.mark.parametrize(("of", "fault"), EVERY_FAULT, ids=lambda each: each if isinstance(each, str) else each.words)
def test_each_row_of_the_table_can_be_written(of: str, fault: Any) -> None:
    which = {"number": "3 ", "name": "north "}.get(NAMED.get(of, ""), "")
    line = f"at 1 s: {of} {which}{fault.example}{' for 2 s' if fault.needs_end else ''}"
    assert parse_fault(line).fault is fault
    assert pickle.loads(pickle.dumps(parse_fault(line))) == parse_fault(line)


@pytest.mark.parametrize(("of", "fault"), EVERY_FAULT, ids=lambda each: each if isinstance(each, str) else each.words)
def test_each_row_does_something_that_there_is(of: str, fault: Any) -> None:
    """It sets fields that there are, to other values than a healthy one has, or has something happen."""
    for values, healthy in ((fault.reports, ReportsFault()), (fault.robot, RobotFault())):
        for name, value in (values or {}).items():
            assert (value(0.4) if callable(value) else value) != getattr(healthy, name)
    assert fault.reports or fault.robot or fault.happens


@pytest.mark.parametrize("family", [*FAMILIES, "link"])
def test_each_device_can_be_lost(family: str) -> None:
    for words in losses_of(family, family).values():
        assert parse_fault(f"on entering a: {words} for 3 s").fault in FAULTS
    assert set(losses_of(family, family)) == {"silent", "lying"} | ({"stuck"} if family != "link" else set())


def test_a_further_device_is_lost_by_its_own_name() -> None:
    assert losses_of("left_range", "range")["lying"] == "left_range biased by 30 cm"
    assert losses_of("bumper", "") == {}
