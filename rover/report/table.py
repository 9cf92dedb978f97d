"""A table as data: a page shows it, and a CSV file has the same cells for a spreadsheet."""

import csv
import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple
from xml.etree.ElementTree import Element

from rover.report.look import Tint
from rover.report.markup import add, add_breakable
from rover.report.numbers import TIMES, UNKNOWN, clock

FIGURE = "+"
"""A heading that begins with it stands over figures, set to the right."""
FEW = 4
"""A table of so few columns is one on a phone too; of one with more, each row becomes lines of heading and cell."""
_PLAIN = str.maketrans({"\u2212": "-", TIMES: "x", "\u00a0": " "})


class Letter(NamedTuple):
    """The letter of a kind, in its tint."""

    text: str
    tint: Tint


class Time(NamedTuple):
    """A time or a span (ns): shown as minutes and seconds, in a file as seconds."""

    ns: int


Cell = str | Letter | Time


@dataclass(frozen=True)
class Table:
    """Headings, each with its unit, and rows; ``otherwise`` is said where there are none."""

    heads: Sequence[str]
    rows: Sequence[Sequence[Cell]]
    otherwise: str = ""


def table(heads: Sequence[str], rows: Iterable[Sequence[Cell]], otherwise: str) -> Element:
    """Return a table, or the sentence ``otherwise`` when it would have no rows."""
    return table_element(Table(heads, list(rows), otherwise))


def table_element(table: Table) -> Element:
    """Return a table as a page shows it, or its sentence."""
    section = Element("div", {"class": "rows"})
    if not table.rows:
        add(section, "p", {"class": "none"}, table.otherwise)
        return section
    whole = add(section, "table", {"class": "many"} if len(table.heads) > FEW else {})
    head = add(add(whole, "thead"), "tr")
    classes = [{"class": "figure"} if name.startswith(FIGURE) else {} for name in table.heads]
    names = [name.removeprefix(FIGURE).replace(" / ", "\u00a0/\u00a0") for name in table.heads]
    for name, attributes in zip(names, classes, strict=True):
        add(head, "th", {"scope": "col", **attributes}, name)
    body = add(whole, "tbody")
    for row in table.rows:
        line = add(body, "tr")
        for name, cell, attributes in zip(names, row, classes, strict=True):
            _add_cell(line, cell, {"data-head": name, **attributes})
    return section


def _add_cell(line: Element, cell: Cell, attributes: dict[str, str]) -> None:
    match cell:
        case Letter(text, tint):
            style = f"background:{tint.fill};color:{tint.letter}"
            add(add(line, "td", attributes), "span", {"class": "letter", "style": style}, text)
        case Time(ns):
            add(line, "td", attributes, clock(ns))
        case _:
            add_breakable(line, "td", attributes, cell)


def csv_of(table: Table) -> str:
    """Return a table as CSV: plain minus signs, times in seconds, nothing in a cell that is not known."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(_plain(name.removeprefix(FIGURE)).replace("min:s", "s") for name in table.heads)
    writer.writerows([_plain(cell) for cell in row] for row in table.rows)
    return text.getvalue()


def _plain(cell: Cell) -> str:
    match cell:
        case Letter(text, _):
            return text
        case Time(ns):
            return f"{ns * 1e-9:.3f}"
        case _:
            return "" if cell == UNKNOWN else cell.translate(_PLAIN)
