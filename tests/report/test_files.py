"""Tables as CSV, pictures as PNG, and what is said where nothing draws them."""

import csv
import struct
import sys
from array import array
from importlib.util import find_spec
from pathlib import Path
from xml.etree import ElementTree

import pytest

from rover.errors import UserError
from rover.record.series import DeviceSeries, RunSeries
from rover.report.files import png_of, svg_of, write_pictures, write_tables
from rover.report.floor import read_ground
from rover.report.page import sections_of
from rover.report.plan import draw_plan
from rover.report.table import Table, Time, csv_of
from tests.report.test_report import invented_run

needs_resvg = pytest.mark.skipif(
    find_spec("resvg_py") is None, reason="needs the extra 'report': pip install -e '.[report]'"
)


def rows_of(path: Path) -> list[list[str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.reader(file))


def test_every_table_with_rows_is_a_file_with_plain_numbers(tmp_path: Path) -> None:
    run = invented_run()

    taken = array("q", [1_500_000_000])
    series = RunSeries({"battery": DeviceSeries(taken, taken, numbers={"volts": (taken, array("d", [12.1]))})})
    write_tables(sections_of(run, series), run, series, tmp_path / "files")

    heads, first, second = rows_of(tmp_path / "files" / "found.csv")
    assert dict(zip(heads, first, strict=True))["error in x / mm"] == "-20"
    assert dict(zip(heads, second, strict=True))["error in x / mm"] == ""
    assert rows_of(tmp_path / "files" / "set-down.csv")[1][:2] == ["6.000", "1"]
    assert rows_of(tmp_path / "files" / "path.csv")[1][:3] == ["0.000", "0.5000", "0.5000"]
    assert rows_of(tmp_path / "files" / "readings.csv")[1] == ["1.500", "battery", "volts", "12.1"]
    assert {path.suffix for path in (tmp_path / "files").iterdir()} == {".csv"}


def test_times_are_seconds_in_a_file() -> None:
    table = Table(("+time / min:s", "what"), [[Time(83_400_000_000), "a, b"]])

    assert csv_of(table) == 'time / s,what\n83.400,"a, b"\n'


def test_a_picture_stands_alone_as_svg() -> None:
    run = invented_run()
    whole = ElementTree.fromstring(svg_of(draw_plan(read_ground(run.header), run)))

    assert whole.tag == "{http://www.w3.org/2000/svg}svg"
    assert whole.attrib["width"] == "1000"


@needs_resvg
def test_pictures_are_drawn_as_large_as_asked_with_ink_on_paper(tmp_path: Path) -> None:
    run = invented_run()

    write_pictures(sections_of(run, RunSeries()), tmp_path)

    image = (tmp_path / "plan.png").read_bytes()
    assert image.startswith(b"\x89PNG")
    assert struct.unpack(">I", image[16:20]) == (2000,)
    assert (tmp_path / "errors-of-the-finds.png").exists()


@needs_resvg
def test_letters_are_drawn_with_letters_that_come_along() -> None:
    blank = ElementTree.fromstring('<svg viewBox="0 0 100 20"></svg>')
    written = ElementTree.fromstring('<svg viewBox="0 0 100 20"><text x="2" y="15">found</text></svg>')

    assert png_of(blank) != png_of(written)


def test_what_draws_them_is_named_where_it_is_missing(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setitem(sys.modules, "resvg_py", None)

    with pytest.raises(UserError, match=r"no PNG; this brings what draws it: .* -m pip install "):
        write_pictures(sections_of(invented_run(), RunSeries()), tmp_path)
    assert list(tmp_path.iterdir()) == []
