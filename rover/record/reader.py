"""Reads a run record back. Opens it read-only, and takes one whose writer was killed as it is."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

from rover.errors import in_short, in_words, one_line
from rover.events import TrackPoint
from rover.record import schema
from rover.record.run import (
    FinalObject,
    Gap,
    Happening,
    Incident,
    NoRecordError,
    RecordedRun,
    RecordError,
    RunEnd,
    RunSummary,
    TrackSample,
    TrueBump,
    TrueFigures,
    TrueFind,
    TruePose,
    TrueTouch,
)
from rover.record.unfinished import JOURNAL, LOG, roll_back

RESCUE = "the SQLite shell's '.recover' may bring back a part of it"


def read(path: Path) -> RecordedRun:
    """Return the run that is recorded in the file, with all that was committed to it.

    Raises:
        RecordError: no such file, not a SQLite file, not a run record, damaged, or of a newer version.
    """
    return read_numbered(path)[0]


def read_numbered(path: Path) -> tuple[RecordedRun, tuple[int, ...]]:
    """Return what `read` does, and the numbers that its events have in the file."""
    with _opened(path) as connection:
        _check_integrity(path, connection)
        return _run(connection)


def _check_integrity(path: Path, connection: sqlite3.Connection) -> None:
    """Look at every page: what is read from a damaged file could be anything."""
    (page,) = connection.execute("PRAGMA page_size").fetchone()
    (found,) = connection.execute("PRAGMA quick_check(1)").fetchone()
    if path.stat().st_size % page and not Path(f"{path}{LOG}").exists():  # what is in its log is not missing
        found = "its end is missing"
    if found != "ok":
        raise RecordError(f"{path}: damaged: {one_line(str(found))}; {RESCUE}")


def summary(path: Path) -> RunSummary:
    """Return what a list of runs says of the one that is recorded in the file; raises as `read`."""
    with _opened(path) as connection:
        header = dict(connection.execute("SELECT key, value FROM header WHERE key NOT LIKE 'file:%'"))
        outcomes = list(_entries(connection, RunEnd))
        times = "SELECT at_ns FROM track UNION ALL SELECT at_ns FROM state_changes"
        first_ns, last_ns = connection.execute(f"SELECT min(at_ns), max(at_ns) FROM ({times})").fetchone()
        began_ns = int(header["began_ns"]) if "began_ns" in header else first_ns or 0
        ended_ns = outcomes[-1][1] if outcomes else last_ns or began_ns
        return RunSummary(header, outcomes[-1][2] if outcomes else None, (ended_ns - began_ns) * 1e-9)


@contextmanager
def _opened(path: Path) -> Iterator[sqlite3.Connection]:
    if not path.is_file():
        raise RecordError(f"{path}: there is no such file; give the path of a run record")
    roll_back(path)
    try:
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)) as connection:
            _check_version(path, connection)
            yield connection
    except sqlite3.OperationalError as error:
        raise RecordError(f"{path}: cannot be read: {one_line(str(error))}; {_advice(path)}") from None
    except sqlite3.DatabaseError as error:
        raise RecordError(
            f"{path}: not a run record, or a damaged one: {one_line(str(error))}; 'rover records' lists those there are"
        ) from None
    except (ValueError, TypeError, LookupError, ArithmeticError) as error:
        raise RecordError(f"{path}: damaged: {in_words(error)}; {RESCUE}") from None


def _advice(path: Path) -> str:
    for end in (LOG, JOURNAL):
        if Path(f"{path}{end}").exists():
            return (
                f"copy it, with the file ending in {end} beside it, to a folder that can be written, and read it there"
            )
    return "check that the file may be read"


def _check_version(path: Path, connection: sqlite3.Connection) -> None:
    tables = [name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
    if "header" not in tables:
        raise NoRecordError(f"{path}: a SQLite file, but not a run record (it has no table 'header')")
    found = connection.execute("SELECT value FROM header WHERE key = 'schema'").fetchone()
    if found is None:
        raise RecordError(f"{path}: not a run record (its header does not give the 'schema')")
    if not (str(found[0]).isdecimal() and len(str(found[0])) < 9):
        raise RecordError(f"{path}: damaged: its layout is given as {in_short(found[0])}; {RESCUE}")
    if int(found[0]) > schema.VERSION:
        raise RecordError(
            f"{path}: written by a newer version (layout {found[0]}; this program reads up to {schema.VERSION}); "
            "read it with the program that wrote it, or bring this one up to date"
        )


def _run(connection: sqlite3.Connection) -> tuple[RecordedRun, tuple[int, ...]]:
    connection.execute("BEGIN")  # one view of the file, should a run still be writing to it
    track = tuple(_track(connection))
    true_track = tuple(TruePose(row[0], *map(_number, row[1:])) for row in connection.execute(_ordered("true_track")))
    numbered = _numbered(connection)
    happenings = tuple(Happening(at_ns, event) for _, at_ns, event in numbered)
    incidents = [entry for kind in (TrueBump, TrueTouch) for entry in _entries(connection, kind)]
    outcomes = list(_entries(connection, RunEnd))
    times = [row[0] for rows in (track, true_track, happenings) for row in rows] + [at_ns for _, at_ns, _ in outcomes]
    header = dict(connection.execute("SELECT key, value FROM header"))
    run = RecordedRun(
        header=header,
        track=track,
        true_track=true_track,
        happenings=happenings,
        true_finds={found.number: found for _, _, found in _entries(connection, TrueFind)},
        incidents=tuple(Incident(at_ns, what) for _, at_ns, what in sorted(incidents, key=lambda entry: entry[0])),
        truth=next((truth for _, _, truth in _entries(connection, TrueFigures)), None),
        final_objects=tuple(found for _, _, found in _entries(connection, FinalObject)),
        gaps=tuple(gap for _, _, gap in _entries(connection, Gap)),
        outcome=outcomes[-1][2] if outcomes else None,
        started_ns=int(header["began_ns"]) if "began_ns" in header else min(times, default=0),
        ended_ns=max(times, default=0),
    )
    return run, tuple(number for number, _, _ in numbered)


def _ordered(table: str) -> str:
    return f"SELECT * FROM {table} ORDER BY rowid"


def _track(connection: sqlite3.Connection) -> Iterator[TrackSample]:
    for at_ns, *columns, state, left, right in connection.execute(_ordered("track")):
        point: list[Any] = [*map(_number, columns), state]
        yield TrackSample(at_ns, TrackPoint(*point), (_number(left), _number(right)))


def _number(column: float | None) -> float:
    return float("nan") if column is None else column


def _numbered(connection: sqlite3.Connection) -> list[tuple[int, int, Any]]:
    """Return the events in the order in which they came: the number of each one's entry, its time, itself."""
    found = [entry for kind in schema.EVENT_TABLES for entry in _entries(connection, kind)]
    return sorted(found, key=lambda entry: entry[0])


def _entries(connection: sqlite3.Connection, kind: type) -> Iterator[tuple[int, int, Any]]:
    table = schema.ENTRY_TABLES[kind]
    if connection.execute("SELECT 1 FROM sqlite_master WHERE name = ?", (table,)).fetchone() is None:
        return  # the file is older than this table
    for number, at_ns, *columns in connection.execute(_ordered(table)):
        yield number, at_ns, schema.entry_from(kind, tuple(columns))
