"""`rover replay` as a person reads it."""

import json
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

CONFIG = Path(__file__).parents[2] / "config"
SHORT = ("--set", "long_side=40 cm", "--set", "short_side=30 cm")


@pytest.fixture
def record(rover):
    written = rover("rehearse", CONFIG / "rectangle.yaml", "--readings", "--json", *SHORT)[1]
    return Path(json.loads(written)["record"])


def test_no_difference(rover, record):
    code, out, err = rover("replay", record)
    assert (code, err) == (0, "")
    first, last = out.splitlines()
    assert "by the readings recorded; held against the record: " in first
    assert last == "no difference: every decision is the same, to the last bit"


def test_the_first_difference(rover, record):
    with closing(sqlite3.connect(record)) as opened, opened:
        opened.execute("UPDATE state_changes SET exit_taken = 'after 1 s' WHERE entered_state = 'side/corner'")
    code, out, _ = rover("replay", record)
    assert code == 1
    *_, where, recorded, replayed, cause = out.splitlines()
    assert where.startswith("first difference at 3.")
    assert where.endswith(", in 'side/corner', of the events:")
    assert recorded.startswith("  recorded  side/along -> side/corner: after 1 s (")
    assert replayed.startswith("  replayed  side/along -> side/corner: when done (")
    assert cause.startswith("cause: else either the record was altered")
    plain = json.loads(rover("replay", record, "--json")[1])
    assert plain["difference"]["what"] == "events"
    assert plain["causes"] == [cause.removeprefix("cause: ")]


def test_decisions_that_part_stand_side_by_side(rover, record):
    code, out, _ = rover("replay", record, "--set", "long_side=30 cm")
    assert code == 1
    lines = out.splitlines()
    at = next(number for number, line in enumerate(lines) if line.startswith("decisions part at "))
    assert lines[at].endswith(", in 'side/along':")
    assert lines[at + 1] == "  as recorded      stays"
    assert lines[at + 2].startswith("  with the change  goes to 'side/corner' by 'when done' (")
    assert lines[at + 4 : at + 6] == [
        "  as recorded      run_straight length 0.4, speed 0.3",
        "  with the change  run_straight length 0.3, speed 0.3",
    ]
    assert lines[at + 8 : at + 10] == ["    as recorded      done is no", "    with the change  done is yes"]


def test_a_change_that_changes_nothing(rover, record):
    code, out, _ = rover("replay", record, "--set", "long_side=400 mm")
    assert code == 0
    assert out.startswith("no other exit is taken in ")


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda path: path.write_bytes(b"no database, but long enough to be one" * 99), "not a run record"),
        (lambda path: path.write_bytes(path.read_bytes()[: path.stat().st_size // 2]), "damaged"),
        (lambda path: path.write_bytes(path.read_bytes()[:4096] + b"\xff" * 60_000), "damaged"),
        (lambda path: path.unlink(), "there is no such file"),
    ],
    ids=["not-sqlite", "truncated", "overwritten", "gone"],
)
def test_a_spoilt_record_is_one_clear_line(rover, record, spoil, said):
    spoil(record)
    code, out, err = rover("replay", record)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert said in err


def test_one_of_a_newer_layout(rover, record):
    with closing(sqlite3.connect(record)) as opened, opened:
        opened.execute("UPDATE header SET value = 99 WHERE key = 'schema'")
    code, _, err = rover("replay", record)
    assert (code, err.count("\n")) == (2, 1)
    assert "written by a newer version" in err


@pytest.mark.parametrize(
    ("text", "said"), [("25", "no time since the run began"), ("-3 s", "no time"), ("x", "not a number")]
)
def test_a_time_that_is_none(rover, record, text, said):
    code, _, err = rover("replay", record, "--from", text)
    assert code == 2
    assert said in err
