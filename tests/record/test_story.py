"""The record as a person reads it with a SQLite shell: ``SELECT * FROM story``."""

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from rover.events import Health, HealthChange, Note, StateChange
from rover.record.reader import read
from rover.record.writer import RunRecord

SECOND = 1_000_000_000


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "run.rec"


def query(path: Path, sql: str) -> list[tuple[Any, ...]]:
    with closing(sqlite3.connect(path)) as connection:
        return connection.execute(sql).fetchall()


def test_times_count_from_the_start_with_wall_time_beside(path: Path) -> None:
    header = {"began_ns": str(100 * SECOND), "began_wall_ns": str(1_700_000_000 * SECOND)}
    record = RunRecord.create(path, header)
    record.entry(161 * SECOND, Note("operator", "reset"))
    record.finish("done", "all_in", {})
    assert query(path, "SELECT at_s, text, wall_time FROM story")[0] == (61.0, "reset", "2023-11-14 22:14:21")
    assert read(path).started_ns == 100 * SECOND


def test_what_comes_again_and_again_is_one_row_with_a_count_and_a_span(path: Path) -> None:
    record = RunRecord.create(path, {})
    for number in range(30):
        record.entry(number * SECOND, HealthChange("heading", Health.OVERDUE, ""))
        record.entry(number * SECOND + 1, HealthChange("heading", Health.OK, ""))
    record.entry(90 * SECOND, HealthChange("heading", Health.OVERDUE, ""))
    for _ in range(2):
        record.entry(90 * SECOND, StateChange("look", "look", "when done", "collect.yaml:3"))
    record.finish("done", "all_in", {})
    assert query(path, "SELECT text, times, round(at_s), round(until_s) FROM story") == [
        ("heading overdue: ", 30, 0.0, 29.0),
        ("heading ok: ", 30, 0.0, 29.0),
        ("heading overdue: ", 1, 90.0, 90.0),
        *[("look -> look: when done", 1, 90.0, 90.0)] * 2,
        ("done: all_in", 1, 90.0, 90.0),
    ]
