"""What later layouts of the record brought, and that earlier ones can still be read."""

import sqlite3
from pathlib import Path

import pytest

from rover.events import BELIEVED, SEEN, Delivery, Find, GivenUp, Health, HealthChange, Note, StateChange
from rover.record import schema
from rover.record.reader import read
from rover.record.run import RunEnd, TrueBump, TrueFigures, TrueFind, TrueTouch
from rover.record.writer import RunRecord

SECOND = 1_000_000_000
LAYOUTS = Path(__file__).parent / "layouts"
"""Small records as earlier versions of the program made them, as SQL."""


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


@pytest.mark.parametrize(
    ("layout", "known_by"),
    [(1, BELIEVED), (2, BELIEVED), (3, SEEN)],
)
def test_a_record_of_an_earlier_layout_is_read_without_what_it_did_not_have(
    tmp_path: Path, layout: int, known_by: str
) -> None:
    """Layouts 1 and 2 counted deliveries before the jaws opened; 1 to 3 had no stories of objects."""
    path = tmp_path / "run.sqlite"
    with sqlite3.connect(path) as connection:
        connection.executescript((LAYOUTS / f"{layout}.sql").read_text("utf-8"))
    connection.close()

    run = read(path)

    assert run.header["schema"] == str(layout)
    assert [one.event for one in run.happenings] == [
        StateChange("", "seek/look", "start", "collect.yaml:3"),
        Find(1, "amber", 1.5, 2.5, 1e-4, 0.0, 1e-4),
        Delivery(1, "amber", 4, 0.6, 0.7, 0.9, known_by),
        GivenUp("teal", 3.0, 1.0, "put off"),
        HealthChange("heading", Health.OVERDUE, ""),
        Note("operator", "held"),
    ]
    assert run.true_finds == {1: TrueFind(1, 1.52, 2.49)}
    assert (run.incidents, run.truth) == ((), None)
    assert run.outcome == RunEnd("done", "all_in", {"expected": 2})
    assert len(run.track) == 1


def test_every_earlier_layout_has_its_example() -> None:
    assert sorted(int(path.stem) for path in LAYOUTS.glob("*.sql")) == list(range(1, schema.VERSION))
