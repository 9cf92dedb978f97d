"""The folder of records: what was cut off is finished, and the oldest make room."""

import os
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from rover.events import Note
from rover.record.folder import finish, host_of, tidy
from rover.record.frames import folder_of
from rover.record.reader import read
from rover.record.run import CUT_OFF, is_cut_off
from rover.record.writer import RunRecord

ROOM = 1e12
CUT = """
import os, sys
from pathlib import Path
from rover.events import Note
from rover.record.writer import RunRecord
record = RunRecord.create(Path(sys.argv[1]), {"host": "robot"})
record.entry(5, Note("activity", "committed"))
while not record._written:
    pass
if sys.argv[2] == "stays":
    print("written", flush=True)
    sys.stdin.read()
os.kill(os.getpid(), 9)
"""


def record(path: Path, age: int, megabytes: float = 0.0, host: str = "bench") -> Path:
    """Make a finished record so old (s), with one frame so large."""
    RunRecord.create(path, {"host": host}).finish("done", "all_in", {})
    if megabytes:
        folder_of(path).mkdir()
        (folder_of(path) / "1.jpg").write_bytes(bytes(round(megabytes * 1e6)))
    os.utime(path, (1e9 - age, 1e9 - age))
    return path


@pytest.fixture
def cut(tmp_path: Path) -> Path:
    """A record whose writer was killed."""
    path = tmp_path / "cut.sqlite"
    subprocess.run([sys.executable, "-c", CUT, path, "killed"], check=False, timeout=60)
    assert Path(f"{path}-wal").exists()
    return path


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


class TestCutOff:
    def test_it_is_finished_and_marked_and_nothing_committed_is_lost(self, cut: Path) -> None:
        assert is_cut_off(read(cut))
        assert list(tidy(cut.parent, ROOM)) == ["cut.sqlite was cut off: all that was committed to it is there"]
        run = read(cut)
        assert run.outcome is not None
        assert (run.outcome.result, is_cut_off(run), run.ended_ns) == (CUT_OFF, True, 5)
        assert [note.text for note in run.events_of(Note)] == ["committed"]
        assert names(cut.parent) == ["cut.sqlite"]

    def test_that_is_done_once(self, cut: Path) -> None:
        list(tidy(cut.parent, ROOM))
        assert list(tidy(cut.parent, ROOM)) == []

    def test_one_that_is_being_written_is_left_alone(self, tmp_path: Path) -> None:
        path = tmp_path / "now.sqlite"
        command = [sys.executable, "-c", CUT, path, "stays"]
        with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as writing:
            assert writing.stdout is not None
            assert writing.stdout.readline() == "written\n"
            assert list(tidy(tmp_path, 1.0)) == []
            assert Path(f"{path}-wal").exists()
            writing.kill()

    def test_a_damaged_one_is_named_and_kept(self, cut: Path) -> None:
        list(tidy(cut.parent, ROOM))
        with sqlite3.connect(cut) as connection:
            connection.execute("PRAGMA journal_mode=WAL")
            connection.execute("CREATE TABLE more (x)")
            content = bytearray(cut.read_bytes())
        connection.close()
        content[4096:8192] = bytes(4096)
        cut.write_bytes(content)
        assert finish(cut) in ("cut.sqlite was cut off, and is damaged", "")
        assert cut.exists()


class TestRoom:
    def test_the_oldest_go_with_their_frames_until_there_is_room(self, tmp_path: Path) -> None:
        for age in (1, 2, 3, 4):
            record(tmp_path / f"{age}.sqlite", age, 1.0)
        said = list(tidy(tmp_path, 2.5e6))
        assert names(tmp_path) == ["1.frames", "1.sqlite", "2.frames", "2.sqlite"]
        assert said[0] == "4.sqlite was deleted, 1.1 MB: records here take 2 MB at most"

    def test_the_newest_stays_however_large_it_is(self, tmp_path: Path) -> None:
        for age in (1, 2):
            record(tmp_path / f"{age}.sqlite", age, 1.0)
        list(tidy(tmp_path, 1.0))
        assert names(tmp_path) == ["1.frames", "1.sqlite"]

    def test_rehearsals_go_before_runs_of_the_robot(self, tmp_path: Path) -> None:
        record(tmp_path / "field.sqlite", 9, 1.0, host="robot")
        for age in (1, 2):
            record(tmp_path / f"{age}.sqlite", age, 1.0)
        list(tidy(tmp_path, 2.5e6))
        assert [name for name in names(tmp_path) if name.endswith("sqlite")] == ["1.sqlite", "field.sqlite"]

    def test_what_is_no_record_and_what_a_person_put_beside_one_stays(self, tmp_path: Path) -> None:
        for age in (1, 2):
            record(tmp_path / f"{age}.sqlite", age, 1.0)
        with sqlite3.connect(tmp_path / "trials.sqlite") as connection:
            connection.execute("CREATE TABLE trials (seed)")
        connection.close()
        for name in ("notes.sqlite", "2.html", "2.surveyed.csv"):
            (tmp_path / name).write_text("mine")
        list(tidy(tmp_path, 1.0))
        kept = ["1.frames", "1.sqlite", "2.html", "2.surveyed.csv", "notes.sqlite", "trials.sqlite"]
        assert names(tmp_path) == kept

    def test_where_there_is_no_folder_there_is_nothing_to_do(self, tmp_path: Path) -> None:
        assert list(tidy(tmp_path / "nowhere", 1.0)) == []


def test_a_record_is_told_from_another_file(tmp_path: Path) -> None:
    (tmp_path / "notes.sqlite").write_text("mine")
    assert host_of(tmp_path / "notes.sqlite") == host_of(tmp_path / "missing.sqlite") == ""
    assert host_of(record(tmp_path / "1.sqlite", 1)) == "bench"
