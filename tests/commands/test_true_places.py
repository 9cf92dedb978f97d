"""Typing in where objects truly stood: what is asked, what is kept, and when it is offered."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from rover.commands import true_places
from rover.errors import UserError
from rover.events import Find
from rover.readiness.person import Person
from rover.record.reader import read
from rover.record.surveyed import path_beside, read_measured
from rover.record.writer import RunRecord

SECOND = 1_000_000_000


def record_at(path: Path, host: str = "robot") -> Path:
    writer = RunRecord.create(path, {"host": host})
    writer.entry(SECOND, Find(1, "amber", 1.5, 2.5, 4e-4, 0.0, 4e-4))
    writer.entry(2 * SECOND, Find(2, "violet", 4.25, 1.125, 1e-4, 0.0, 1e-4))
    writer.finish("done", "all_in", {})
    return path


@pytest.fixture
def record(tmp_path: Path) -> Path:
    return record_at(tmp_path / "run.sqlite")


def type_in(record: Path, *lines: str) -> str:
    """Return what is said to somebody who types some lines, and then no more."""
    reads, writes = os.pipe()
    os.write(writes, "".join(f"{line}\n" for line in lines).encode())
    os.close(writes)
    said: list[str] = []
    try:
        true_places.type_in(record, read(record), Person(reads, said.append, "stop"))
    finally:
        os.close(reads)
    return "".join(said)


def kept(record: Path) -> list[tuple[int | None, float, float]]:
    return [(row.number, row.x, row.y) for row in read_measured(path_beside(record))]


def test_what_is_typed_is_kept_beside_the_record(record: Path) -> None:
    said = type_in(record, "1.52 m", "245 cm", "4.26 m", "1.12 m")

    assert "find 1, amber, reported at x 1.500 m, y 2.500 m" in said
    assert f"measured: {path_beside(record)}" in said
    assert kept(record) == [(1, 1.52, 2.45), (2, 4.26, 1.12)]


def test_what_was_not_measured_is_left_out(record: Path) -> None:
    type_in(record, "", "4.26 m", "1.12 m")

    assert kept(record) == [(2, 4.26, 1.12)]


def test_what_cannot_be_meant_is_asked_for_again(record: Path) -> None:
    said = type_in(record, "1.52", "152 m", "1.52 m", "2.45 m", "")

    assert "write its unit" in said
    assert "150 m from where it was reported; is the unit right?" in said
    assert kept(record) == [(1, 1.52, 2.45)]


def test_who_stops_in_the_middle_keeps_what_was_typed(record: Path) -> None:
    type_in(record, "1.52 m", "2.45 m", "4.26 m")

    assert kept(record) == [(1, 1.52, 2.45)]


def test_nothing_typed_is_nothing_written(record: Path) -> None:
    assert "nothing was typed in" in type_in(record)
    assert not path_beside(record).exists()


def test_what_is_there_already_stays(record: Path) -> None:
    type_in(record, "1.52 m", "2.45 m", "")
    with pytest.raises(UserError, match="is there already"):
        type_in(record, "9 m", "9 m", "")
    assert kept(record) == [(1, 1.52, 2.45)]


ASK = "from pathlib import Path; from rover.commands.true_places import offer_latest; offer_latest(Path('.'))"


def at_a_terminal(folder: Path, typed: str) -> str:
    """Return what a process says that asks at a terminal where something is typed."""
    near, far = os.openpty()
    with subprocess.Popen([sys.executable, "-c", ASK], cwd=folder, stdin=far, stderr=far, close_fds=True) as asking:
        os.close(far)
        os.write(near, typed.encode())
        said = b""
        try:
            while part := os.read(near, 1024):
                said += part
        except OSError:
            pass  # the other end is closed
        os.close(near)
    assert asking.returncode == 0
    return said.decode()


def test_the_latest_run_on_the_robot_is_asked_about_until_it_has_true_places(record: Path) -> None:
    record_at(record.with_name("rehearsal.sqlite"), host="bench")
    record.with_name("broken.sqlite").write_bytes(b"no record")

    assert "run.sqlite has 2 finds and no true places yet" in at_a_terminal(record.parent, "\n")
    assert not path_beside(record).exists()
    at_a_terminal(record.parent, "y\n1.52 m\n2.45 m\n\n")
    assert kept(record) == [(1, 1.52, 2.45)]
    assert "true places" not in at_a_terminal(record.parent, "")


def test_nobody_is_asked_without_a_terminal(record: Path) -> None:
    ended = subprocess.run(
        [sys.executable, "-c", ASK], cwd=record.parent, input="y\n", capture_output=True, text=True, check=True
    )
    assert (ended.stdout, ended.stderr) == ("", "")
