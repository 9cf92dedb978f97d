"""What cannot be read gets one clear line."""

import sqlite3
from pathlib import Path

import pytest

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
