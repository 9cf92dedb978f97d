"""`rover show` and `rover records` on records made of a few events."""

import shutil
import sqlite3
from pathlib import Path

import pytest
from click.testing import CliRunner

from rover.commands.main import commands
from rover.events import Diversion, Find, GivenUp, HoldBack, ObjectEvent, StateChange, Stop
from rover.record.folder import finish
from rover.record.writer import RunRecord

SECOND = 1_000_000_000
ERRAND = "errand: Bring the jars in\nkinds: {amber: {lid: amber}, teal: {lid: teal}}\n"
EVENTS = (
    StateChange("", "seek", "start", "b.yaml:3"),
    ObjectEvent(1, "teal", "seen", 5.94, 3.95, "in 3 frames"),
    StateChange("seek", "pick_up/approach", "when target.known", "b.yaml:5", {"target.known": True}),
    ObjectEvent(1, "teal", "chosen", 5.94, 3.95),
    HoldBack("boundary"),
    HoldBack("boundary", ended=True),
    StateChange(
        "pick_up/approach",
        "seek",
        "when failed",
        "b.yaml:9",
        outcome="failed: cannot be reached: there is no direction",
        diversions=(Diversion("pick_up/back_off", 4),),
    ),
    GivenUp("teal", 5.94, 3.95, "cannot be reached: there is no direction", 1),
    StateChange("seek", "some_left", "after settings.longest", "b.yaml:7"),
)


def record_at(path: Path, events: object = EVENTS, *, ends: tuple[str, str] | None = ("failed", "some_left")) -> Path:
    """Write a record with an event a second, and return its path; ``ends`` is None where the power went."""
    record = RunRecord.create(path, {"title": "Bring the jars in", "started": "2026-01-01", "file:e.yaml": ERRAND})
    for number, event in enumerate(events):
        record.entry(number * SECOND, event)
    if ends is None:
        record.finish("", "", {})  # so that all is written; then the end is taken away
        with sqlite3.connect(path) as connection:
            connection.execute("DELETE FROM outcome")
        return path
    record.finish(*ends, {"expected": 2, "delivered": 1, "left": 1})
    return path


def said(*arguments: str) -> str:
    """Return what a command says, blanks joined."""
    ended = CliRunner().invoke(commands, arguments, catch_exceptions=False)
    assert arguments[0] != "show" or all(len(line) <= 80 for line in ended.output.splitlines())
    return " ".join(ended.output.split())


def test_it_says_why_a_run_went_so(tmp_path):
    text = said("show", str(record_at(tmp_path / "a.sqlite")))
    assert text.startswith("Bring the jars in: failed (some_left) after 8.0 s, 1 of 2 delivered. What ended it")
    assert "'seek' was left for 'some_left' by 'after settings.longest' (b.yaml:7) [8.0 s, entry 9]." in text
    assert "Object 1, teal at x 5.94 m, y 3.95 m: cannot be reached: there is no direction [7.0 s, entry 8]." in text
    assert "pick_up/approach: 4.0 s (50%), 1 visit, the longest 4.0 s [2.0 s, entry 3]." in text
    assert "1. setting longest: 'seek' was left for 'some_left' by 'after settings.longest'" in text
    assert "2. where object 1 stands: object 1, teal at x 5.94 m, y 3.95 m: cannot be reached" in text


def test_it_says_what_stopped_a_run(tmp_path):
    events = (EVENTS[0], Stop("the stop input is open"))
    text = said("show", str(record_at(tmp_path / "a.sqlite", events, ends=("stopped", "the stop input is open"))))
    assert "A stop latched, in 'seek': the stop input is open [1.0 s, entry 2]." in text


@pytest.mark.parametrize("is_finished", [False, True])
def test_it_says_where_a_record_breaks_off(tmp_path, is_finished):
    path = record_at(tmp_path / "a.sqlite", ends=None)
    if is_finished:  # by the next run
        finish(path)
    assert "PARTIAL" in said("records", str(tmp_path))
    text = said("show", str(path))
    assert "the record ends after 8.0 s, before the run did" in text
    assert "its last entry is of 8.0 s in 'some_left'" in text


def test_it_tells_the_story_of_an_object(tmp_path):
    path = str(record_at(tmp_path / "a.sqlite", (*EVENTS, Find(1, "teal", 1.0, 2.0, 0.0, 0.0, 0.0, object=1))))
    text = said("show", path, "--object", "1")
    assert text.startswith("Object 1, teal Seen at x 5.94 m, y 3.95 m: in 3 frames [1.0 s, entry 2].")
    assert text.endswith("Found at x 1.00 m, y 2.00 m, as find 1 [9.0 s, entry 10].")


def test_it_tells_of_all_visits_of_a_state(tmp_path):
    text = said("show", str(record_at(tmp_path / "a.sqlite")), "--state", "pick_up/approach")
    assert text == (
        "pick_up/approach: 1 visit, 4.0 s in all 1 4.0 s [2.0 s, entry 3], left for 'seek' by 'when failed'; failed: "
        "cannot be reached: there is no direction; not to 'pick_up/back_off', whose 4 tries had been used up "
        "[6.0 s, entry 7]."
    )


@pytest.mark.parametrize(
    ("arguments", "why"),
    [
        (("--object", "7"), "--object 7: the record has no such object; they are numbered from 1 to 1"),
        (("--state", "aproach"), "--state aproach: the run never was in it; did you mean 'pick_up/approach'?"),
    ],
)
def test_what_is_not_in_the_record_is_said(tmp_path, arguments, why):
    with pytest.raises(Exception, match=why.replace("?", r"\?")):
        CliRunner().invoke(
            commands, ["show", str(record_at(tmp_path / "a.sqlite")), *arguments], catch_exceptions=False
        )


def test_runs_are_listed_with_their_results(tmp_path):
    whole = record_at(tmp_path / "whole.sqlite")
    record_at(tmp_path / "partial.sqlite", ends=None)
    shutil.copy(whole, tmp_path / "damaged.sqlite")
    (tmp_path / "damaged.sqlite").write_bytes(whole.read_bytes()[:2000])
    with sqlite3.connect(tmp_path / "outbox.notices.sqlite") as other:
        other.execute("CREATE TABLE messages (text TEXT)")
    lines = CliRunner().invoke(commands, ["records", str(tmp_path)]).output.splitlines()
    assert [line.split()[:2] for line in lines[:4]] == [
        ["record", "result"],
        ["damaged", "DAMAGED"],
        ["partial", "PARTIAL"],
        ["whole", "failed"],
    ]
    assert lines[3].split()[2:] == ["(some_left)", "1", "of", "2", "8.0", "s"]
    assert "damaged.sqlite: not a run record, or a damaged one" in lines[4]


def test_a_folder_without_records_is_said(tmp_path):
    assert "there are no run records" in said("records", str(tmp_path))
