"""What is said of a result, and when nobody need go and look."""

import json
from dataclasses import replace

import pytest

from rover.commands.output import progress_line, show_result
from rover.events import Ellipse
from rover.record.fates import Fate
from rover.record.run import TrueFigures
from rover.session.result import FindReport, Result

ALL_IN = Result("done", "all_in", 9, 9, None, (), None, 640.0, 8.0, 32000, "run.sqlite", seen=9, believed=0, left=0)


@pytest.mark.parametrize(
    ("changed", "is_clean", "said"),
    [
        ({}, True, []),
        ({"seen": 8}, True, ["by the robot's own account: 1 delivered and not seen in the tray"]),
        (
            {"delivered": 8, "seen": 8, "believed": 1},
            False,
            ["by the robot's own account: 1 set down and only believed to be there: go and look"],
        ),
        ({"delivered": 8, "seen": 8, "left": 1}, False, ["by the robot's own account: 1 left"]),
        ({"unseen": 0.083}, False, ["by the robot's own account: 8% of the field could not be looked at"]),
        ({"delivered": 0, "seen": 0, "left": None}, True, []),
        ({"result": "failed", "reason": "some_left"}, False, []),
        ({"result": "stopped", "reason": "stop"}, False, []),
    ],
)
def test_the_robots_own_account_stands_beside_the_behaviours_word(capsys, changed, is_clean, said):
    result = replace(ALL_IN, **changed)
    show_result(result, [], as_json=False)
    assert result.is_clean is is_clean
    lines = capsys.readouterr().out.splitlines()
    assert [line for line in lines if line.startswith("by the robot's")] == said
    delivered = "" if result.left is None else f": {result.delivered} of 9 delivered"
    assert lines[0].startswith(f"{result.result} ({result.reason}){delivered} in ")


def lines_of(capsys, **changed) -> list[str]:
    show_result(replace(ALL_IN, **changed), [], as_json=False)
    return capsys.readouterr().out.splitlines()


def test_what_is_not_in_is_said_with_its_reason(capsys):
    left = Fate(4, "amber", 5.9, 3.9, "cannot be reached: there is no direction", 17)
    said = lines_of(capsys, delivered=8, seen=8, left=1, not_in=(left,))
    assert "not in: object 4, amber at x 5.90 m, y 3.90 m: cannot be reached: there is no direction" in said


def test_devices_that_gave_up_are_said(capsys):
    assert "gave up: bumper, faulty since 0.1 s: no answer" in lines_of(
        capsys, gave_up=("bumper, faulty since 0.1 s: no answer",)
    )


def test_delivered_stands_beside_what_the_errand_expects_and_the_bench_beside_that(capsys):
    truth = TrueFigures(8, 5, 0, 0, 0, 0, 0, 0.0, 0, 0, 0.0, 0.0, 30.0)
    said = lines_of(capsys, delivered=5, seen=5, objects=5, truth=truth)
    assert said[0] == "done (all_in): 5 of 5 expected delivered in 640 s"
    assert said[1] == "what truly happened: 8 stood there to be fetched"


def test_an_errand_that_brings_nothing_is_not_counted(capsys):
    said = lines_of(capsys, reason="back", delivered=0, seen=0, left=None, noted=("teal seen at x 1.00 m, y 2.00 m",))
    assert said[1] == "noted: teal seen at x 1.00 m, y 2.00 m"
    assert said[0] == "done (back) in 640 s"


def test_json_has_all_of_it(capsys):
    show_result(replace(ALL_IN, delivered=7, seen=6, believed=1, left=1), [], as_json=True)
    said = json.loads(capsys.readouterr().out)
    assert [said[name] for name in ("result", "delivered", "seen", "believed", "left")] == ["done", 7, 6, 1, 1]


@pytest.mark.parametrize("state", ["seek/look", "stopped: the motor guard had to be started again, " * 3, ""])
def test_the_progress_line_fits_80_columns_and_covers_the_one_before(state):
    line = progress_line(123, 59, 9, state)
    assert len(line) == 79
    assert line.startswith(f"123:59  delivered 9  {state}"[:78])


def test_the_columns_of_the_finds_are_explained_once(capsys):
    find = FindReport("amber", 1.0, 2.0, Ellipse(0.1, 0.05, 0.0), 0.03)
    show_result(replace(ALL_IN, finds=(find, find)), [], as_json=False)
    said = capsys.readouterr().out
    assert said.count("axis error: by how much x or y is off") == 1
    assert said.count("19 of 20 objects should stand within theirs") == 1
    show_result(ALL_IN, [], as_json=False)
    assert "axis error" not in capsys.readouterr().out
