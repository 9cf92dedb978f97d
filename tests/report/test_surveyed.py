"""`rover report --surveyed`: places measured with a tape beside those that the robot reported."""

from dataclasses import replace
from pathlib import Path

import pytest

from rover.commands import main as cli
from rover.events import Find
from rover.record.surveyed import path_beside
from rover.record.writer import RunRecord
from rover.report.figures import errors_of
from rover.report.surveyed import with_measured
from tests.report.test_report import FIELD, SECOND, Page, invented_run


@pytest.fixture
def record(tmp_path: Path) -> Path:
    """The record of a run on a robot: two finds, and nobody knows the truth."""
    path = tmp_path / "run.sqlite"
    header = invented_run(field=FIELD).header
    kinds = '{"teal": {"hue": [82, 98], "saturation": [80, 255]}}'
    writer = RunRecord.create(path, {**header, "allowance": "0.05", "kinds": kinds})
    writer.entry(SECOND, Find(1, "amber", 1.5, 2.5, 4e-4, 0.0, 4e-4))
    writer.entry(2 * SECOND, Find(2, "violet", 4.25, 1.125, 1e-4, 0.0, 1e-4))
    writer.finish("done", "all_in", {})
    return path


def report(*arguments: str | Path) -> int:
    with pytest.raises(SystemExit) as ended:
        cli.main(["report", *map(str, arguments)])
    return int(ended.value.code or 0)


def written(record: Path, text: str) -> Path:
    path = record.with_name("tape.csv")
    path.write_text(text)
    return path


def test_the_table_that_one_is_asked_for(record: Path) -> None:
    """Reported and true x and y, both errors, the larger, the distance, inside the ellipse, within the allowance."""
    tape = written(record, "number,x / cm,y / cm\n1,152,245\n2,4.26 m,112.5\n")

    assert report(record, "--surveyed", tape) == 0

    page = Page(record.with_suffix(".html").read_text())
    first = ["1.500", "2.500", "49", "49", "0", "1.520", "2.450", "\u221220", "50", "50", "54", "NO", "yes"]
    second = ["4.250", "1.125", "24", "24", "0", "4.260", "1.125", "\u221210", "0", "10", "10", "yes", "yes"]
    assert ["1", "A", "amber", *first] in page.rows
    assert ["2", "V", "violet", *second] in page.rows
    assert "50 (find 1)" in page.text
    assert "tape.csv" in page.text
    assert "Errors of the finds" in page.text


def test_what_was_typed_in_before_is_beside_the_record(record: Path) -> None:
    path_beside(record).write_text("number,x,y\n1,1.5 m,2.5 m\n")

    assert report(record) == 0

    assert "run.surveyed.csv" in record.with_suffix(".html").read_text()


def test_what_was_measured_and_never_found_stands_on_the_plan(record: Path) -> None:
    assert report(record, "--surveyed", written(record, "kind,x,y\nteal,3 m,1 m\n")) == 0

    page = Page(record.with_suffix(".html").read_text())
    assert "on the floor at the end" in page.svg_texts
    assert "T" in page.svg_texts


def test_bad_rows_are_refused_and_no_report_is_written(record: Path, capsys: pytest.CaptureFixture[str]) -> None:
    tape = written(record, "number,x / m,y / m\n7,1,1\n1,250,1\n")

    assert report(record, "--surveyed", tape) == cli.UNUSABLE

    said = capsys.readouterr().err
    assert "tape.csv:2:1: '7': the record has no find 7 (it has: 1, 2)" in said
    assert "tape.csv:3:1: 'x 250 m, y 1 m': 244 m outside the field" in said
    assert not record.with_suffix(".html").exists()


def test_the_truth_of_a_bench_measured_gives_the_same_errors(tmp_path: Path) -> None:
    run = invented_run()
    tape = tmp_path / "tape.csv"
    tape.write_text("number,x,y\n" + "".join(f"{one.number},{one.x} m,{one.y} m\n" for one in run.true_finds.values()))

    assert errors_of(with_measured(replace(run, true_finds={}), tape)) == errors_of(run)


def test_what_was_measured_goes_before_what_a_bench_knows(tmp_path: Path) -> None:
    tape = tmp_path / "tape.csv"
    tape.write_text("number,x,y\n1,1.4 m,2.5 m\n")

    assert errors_of(with_measured(invented_run(), tape))[1].x == pytest.approx(0.1)
