"""What a report has as files of their own: pictures as PNG, tables as CSV, and the path.

PNG is drawn by resvg (the extra `report`), which has wheels for 64-bit ARM and needs neither a browser nor
libraries of the system; letters are those of DejaVu Serif, which comes with matplotlib, so that a board without fonts
has them too.
"""

import csv
import re
from collections.abc import Iterable, Iterator, Sequence
from copy import deepcopy
from importlib.util import find_spec
from pathlib import Path
from typing import Any
from xml.etree.ElementTree import Element, tostring

from rover.errors import UserError, to_install
from rover.record.run import RecordedRun
from rover.record.series import RunSeries
from rover.report.document import Picture, Section
from rover.report.look import PAPER
from rover.report.table import Table, csv_of
from rover.report.view import WIDTH

ZOOM = 2.0
"""Pixels of a PNG for a unit of the picture: 2000 across, 17 cm at 300 dots an inch."""
FACES = ("DejaVuSerif.ttf", "DejaVuSerif-Italic.ttf")
PATH_HEADS = (
    *("time / s", "x / m", "y / m", "heading / rad", "sigma x / m", "sigma y / m", "sigma heading / rad"),
    *("left duty", "right duty", "state"),
)
READING_HEADS = ("time / s", "device", "what", "value in SI units")


def folder_beside(record: Path) -> Path:
    """Return the folder of a report's files."""
    return record.with_suffix(".report")


def write_tables(sections: Sequence[Section], run: RecordedRun, series: RunSeries, folder: Path) -> None:
    """Write each table that has rows, the path, and the readings' numbers as CSV; what was there is replaced.

    Raises:
        OSError: a file cannot be written.
    """
    folder.mkdir(exist_ok=True)
    for section in sections:
        if isinstance(section.content, Table) and section.content.rows:
            (folder / f"{_slug(section)}.csv").write_text(csv_of(section.content), encoding="utf-8")
    _write(folder / "path.csv", PATH_HEADS, _path_rows(run))
    if series.devices:
        _write(folder / "readings.csv", READING_HEADS, _reading_rows(run, series))


def _write(path: Path, heads: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(heads)
        writer.writerows(rows)


def _path_rows(run: RecordedRun) -> Iterator[list[str]]:
    for at_ns, point, duties in run.track:
        place = (point.x, point.y, point.heading, point.sigma_x, point.sigma_y, point.sigma_heading)
        yield [f"{(at_ns - run.started_ns) * 1e-9:.3f}", *(f"{each:.4f}" for each in (*place, *duties)), point.state]


def _reading_rows(run: RecordedRun, series: RunSeries) -> Iterator[list[str]]:
    for device, one in sorted(series.devices.items()):
        for name, (times, values) in one.numbers.items():
            for taken_ns, value in zip(times, values, strict=True):
                yield [f"{(taken_ns - run.started_ns) * 1e-9:.3f}", device, name, f"{value:.6g}"]


def write_pictures(sections: Sequence[Section], folder: Path) -> None:
    """Write each picture as PNG; what was there is replaced.

    Raises:
        UserError: what draws it is not installed.
        OSError: a file cannot be written.
    """
    pictures = {_slug(one): one.content.draw(WIDTH) for one in sections if isinstance(one.content, Picture)}
    drawn = {name: png_of(picture) for name, picture in pictures.items()}
    folder.mkdir(exist_ok=True)
    for name, image in drawn.items():
        (folder / f"{name}.png").write_bytes(image)


def png_of(picture: Element, zoom: float = ZOOM) -> bytes:
    """Return an SVG picture as PNG, so many pixels for a unit of the picture.

    Raises:
        UserError: what draws it is not installed.
    """
    try:
        from resvg_py import svg_to_bytes
    except ImportError:
        raise UserError(f"no PNG; this brings what draws it: {to_install('report')}") from None
    return bytes(svg_to_bytes(svg_string=svg_of(picture), zoom=zoom, **_fonts()))


def svg_of(picture: Element) -> str:
    """Return a picture as an SVG file that stands alone, on paper."""
    whole = deepcopy(picture)
    _, _, width, height = whole.attrib["viewBox"].split()
    whole.attrib |= {"xmlns": "http://www.w3.org/2000/svg", "width": width, "height": height, "font-family": "serif"}
    whole.insert(0, Element("rect", {"width": width, "height": height, "fill": PAPER}))
    return tostring(whole, encoding="unicode")


def _fonts() -> dict[str, Any]:
    spec = find_spec("matplotlib")
    if spec is None or not spec.submodule_search_locations:
        return {}  # the system's own
    folder = Path(spec.submodule_search_locations[0], "mpl-data", "fonts", "ttf")
    faces = [str(folder / name) for name in FACES]
    return {"font_files": faces, "serif_family": "DejaVu Serif", "skip_system_fonts": True}


def _slug(section: Section) -> str:
    return re.sub(r"[^a-z0-9]+", "-", section.name.lower()).strip("-")
