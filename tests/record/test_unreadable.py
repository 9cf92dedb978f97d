"""What cannot be read gets one clear line."""

import sqlite3
from pathlib import Path
from random import Random

import pytest

from rover.events import Note, StateChange, TrackPoint
from rover.record import schema
from rover.record.reader import read
from rover.record.run import RecordError
from rover.record.writer import RunRecord


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "run.rec"


def test_no_such_file(path: Path) -> None:
    with pytest.raises(RecordError, match="there is no such file"):
        read(path)


def test_not_sqlite(path: Path) -> None:
    path.write_text("robot: Greenhouse cart\n" * 100)

    with pytest.raises(RecordError, match="not a run record, or a damaged one: file is not a database"):
        read(path)


def test_another_sqlite_file(path: Path) -> None:
    with sqlite3.connect(path) as connection:
        connection.execute("CREATE TABLE jars (lid TEXT)")
    connection.close()

    with pytest.raises(RecordError, match="a SQLite file, but not a run record"):
        read(path)


def test_newer_version(path: Path) -> None:
    RunRecord.create(path, {}).finish("done", "", {})
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("UPDATE header SET value = '99' WHERE key = 'schema'")
    connection.close()

    with pytest.raises(RecordError, match=rf"newer version \(layout 99; this program reads up to {schema.VERSION}\)"):
        read(path)


def test_damaged(path: Path) -> None:
    RunRecord.create(path, {}).finish("done", "", {})
    with path.open("r+b") as file:
        file.seek(100)
        file.write(b"\xff" * 60_000)

    with pytest.raises(RecordError, match="damaged"):
        read(path)


def a_record(path: Path) -> bytes:
    """Return the bytes of a record with something in most of its tables."""
    record = RunRecord.create(path, {"title": "Bring the jars in", "host": "bench"})
    for number in range(400):
        record.step(number, TrackPoint(0.1, 0.2, 0.3, 0.01, 0.02, 0.03, "seek/look"), (0.1, 0.2))
        record.entry(number, Note("activity", f"note {number}"))
        record.entry(number, StateChange("a", "b", "when done", "collect.yaml:3", {"range.distance": 0.5}))
    record.finish("done", "all_in", {"expected": 1})
    return path.read_bytes()


def is_told_in_a_line(path: Path) -> bool:
    """Tell whether a file is refused; it has to be so in one line that names it."""
    try:
        read(path)
    except RecordError as error:
        said = str(error)
    else:
        return False
    assert said.startswith(f"{path}: ")
    assert "\n" not in said
    assert len(said) < 600
    return True


def test_flipped_bytes_are_told_in_a_line_or_change_no_more_than_a_text(path: Path) -> None:
    """The file has no sums over its rows: a flip within a text passes, one in the structure does not."""
    good, draw = a_record(path), Random(5)
    told = 0
    for _ in range(150):
        flipped = bytearray(good)
        for at in draw.sample(range(len(good)), draw.choice([1, 8, 64])):
            flipped[at] ^= 1 << draw.randrange(8)
        path.write_bytes(flipped)
        told += is_told_in_a_line(path)
    assert told > 40


def test_a_truncated_file_is_told_in_a_line_wherever_it_ends(path: Path) -> None:
    good = a_record(path)
    for kept in [0, 1, 99, 100, 101, 4095, 4096, *range(5000, len(good), 7001), len(good) - 1]:
        path.write_bytes(good[:kept])
        assert is_told_in_a_line(path), kept


@pytest.mark.parametrize("page", range(1, 12))
def test_a_page_that_came_to_nothing_is_told_in_a_line(path: Path, page: int) -> None:
    """As a worn card gives it back."""
    content = bytearray(a_record(path))
    content[page * 4096 : (page + 1) * 4096] = bytes(4096)
    path.write_bytes(content)
    assert is_told_in_a_line(path)


@pytest.mark.parametrize("layout", ["", "four", "-1", "9" * 5000])
def test_a_layout_that_is_none_is_told_in_a_line(path: Path, layout: str) -> None:
    a_record(path)
    with sqlite3.connect(path) as connection:
        connection.execute("UPDATE header SET value = ? WHERE key = 'schema'", (layout,))
    connection.close()
    assert is_told_in_a_line(path)
