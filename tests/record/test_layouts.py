"""What later layouts of the record brought, and that earlier ones can still be read."""

import sqlite3
from pathlib import Path

from rover.events import BELIEVED, SEEN, Delivery, Find, GivenUp, StateChange
from rover.record.reader import read
from rover.record.run import RunEnd, TrueBump, TrueFigures, TrueFind, TrueTouch
from rover.record.writer import RunRecord

SECOND = 1_000_000_000


def test_bumps_touches_and_figures_of_the_truth_come_back_as_they_were_written(tmp_path: Path) -> None:
    bump, touch = TrueBump(0.2, 0.3, 0.15), TrueTouch("2", "teal", 3.0, 1.0, 0.04, True)
    figures = TrueFigures(9, 8, 1, 2, 3, 4, 1, 0.15, 0, 1, 2.5, 0.01, 81.5)
    record = RunRecord.create(tmp_path / "run.sqlite", {})
    for number, entry in enumerate((bump, touch, figures), 1):
        record.entry(number * SECOND, entry)
    record.finish("done", "all_in", {})

    run = read(tmp_path / "run.sqlite")

    assert run.incidents == ((SECOND, bump), (2 * SECOND, touch))
    assert run.truth == figures


def set_back(path: Path, layout: int, changes: str) -> None:
    """Make a record one of an earlier layout."""
    connection = sqlite3.connect(path, isolation_level=None)
    connection.executescript(f"DROP VIEW story; {changes}; UPDATE header SET value = '{layout}' WHERE key = 'schema'")
    connection.close()


def test_a_record_of_the_first_layout_is_read_without_what_it_did_not_have(tmp_path: Path) -> None:
    """Layout 1 had no bumps, touches and figures of the truth."""
    path = tmp_path / "run.sqlite"
    record = RunRecord.create(path, {})
    record.entry(SECOND, TrueFind(1, 1.52, 2.49))
    record.finish("done", "all_in", {})
    set_back(path, 1, "DROP TABLE true_bumps; DROP TABLE true_touches; DROP TABLE truth")

    run = read(path)

    assert run.true_finds == {1: TrueFind(1, 1.52, 2.49)}
    assert run.incidents == ()
    assert run.truth is None
    assert run.outcome == RunEnd("done", "all_in", {})


def test_deliveries_of_the_second_layout_are_believed_since_it_counted_them_before_the_jaws_opened(
    tmp_path: Path,
) -> None:
    path = tmp_path / "run.sqlite"
    record = RunRecord.create(path, {})
    record.entry(SECOND, Delivery(1, "amber", 4, 0.6, 0.7, 0.9, SEEN))
    record.finish("done", "all_in", {})
    assert [one.known_by for one in read(path).counted] == [SEEN]
    set_back(path, 2, ";".join(f"ALTER TABLE deliveries DROP COLUMN {name}" for name in ("known_by", "object", "why")))

    run = read(path)

    assert run.events_of(Delivery) == (Delivery(1, "amber", 4, 0.6, 0.7, 0.9, BELIEVED),)
    assert run.counted == ()


def test_what_the_third_layout_did_not_say_is_left_empty(tmp_path: Path) -> None:
    """Layout 3 had neither objects' stories nor what was waited for."""
    path = tmp_path / "run.sqlite"
    record = RunRecord.create(path, {})
    record.entry(SECOND, StateChange("a", "b", "after 3 s", "collect.yaml:3", {}, "failed: jammed"))
    record.entry(SECOND, Find(1, "amber", 1.5, 2.5, 1e-4, 0.0, 1e-4, object=2))
    record.entry(SECOND, GivenUp("teal", 1.0, 2.0, "put off", object=3))
    record.finish("done", "all_in", {})
    new = {"state_changes": ("outcome", "awaited", "diversions"), "finds": ("object",), "given_up": ("object",)}
    drops = [f"ALTER TABLE {table} DROP COLUMN {name}" for table, names in new.items() for name in names]
    set_back(path, 3, "; ".join(["DROP TABLE objects", *drops]))

    assert [one.event for one in read(path).happenings] == [
        StateChange("a", "b", "after 3 s", "collect.yaml:3", {}),
        Find(1, "amber", 1.5, 2.5, 1e-4, 0.0, 1e-4),
        GivenUp("teal", 1.0, 2.0, "put off"),
    ]
