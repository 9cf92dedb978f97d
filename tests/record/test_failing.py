"""A record that fails under a run: what becomes of its file is noticed with the next commit, and said."""

import os
import time
from pathlib import Path

import pytest

from rover.events import Note
from rover.record.writer import RunRecord


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "run.sqlite"


def failing(record: RunRecord, at_ns: int) -> str:
    """Return what is wrong after one commit more."""
    before = record._written
    record.entry(at_ns, Note("activity", f"at {at_ns}"))
    end_s = time.monotonic() + 30.0
    while record._written == before or record._kept:
        assert time.monotonic() < end_s
        time.sleep(0.001)
    return record.failing


def deleted(path: Path) -> None:
    path.unlink()


def moved(path: Path) -> None:
    path.rename(path.with_name("elsewhere.sqlite"))


def without_log(path: Path) -> None:
    Path(f"{path}-wal").unlink()


def replaced(path: Path) -> None:
    path.with_name("new").touch()
    path.with_name("new").rename(path)


def folder_gone(path: Path) -> None:
    path.parent.rename(path.parent.with_name("gone"))


@pytest.mark.parametrize("fate", [deleted, moved, without_log, replaced, folder_gone])
def test_a_file_that_is_gone_is_noticed(path: Path, fate: object) -> None:
    record = RunRecord.create(path, {"title": "gone"})
    assert failing(record, 1) == ""
    fate(path)  # type: ignore[operator]
    assert failing(record, 2) == f"{path}: the run record was deleted or moved under the run, which goes on without"
    record.finish("done", "", {})
    assert "was deleted or moved" in record.trouble


def test_one_that_goes_while_it_is_looked_at_was_not_made_read_only(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    record = RunRecord.create(path, {"title": "going"})
    may = os.access

    def gone_before(asked: Path, mode: int) -> bool:
        path.unlink(missing_ok=True)
        return may(asked, mode)

    monkeypatch.setattr(os, "access", gone_before)
    assert "was deleted or moved" in failing(record, 1)
    record.finish("done", "", {})


def test_one_that_is_put_back_is_being_written_again(path: Path) -> None:
    record = RunRecord.create(path, {"title": "back"})
    failing(record, 1)
    away = path.with_name("away")
    path.rename(away)
    assert failing(record, 2)
    away.rename(path)
    assert failing(record, 3) == ""
    record.finish("done", "", {})
