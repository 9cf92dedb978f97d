"""True positions that a person measured with a tape: a CSV file, and which finds of a run they belong to.

Its first line names the columns: ``number`` or ``kind`` or both, ``x`` and ``y``; other columns are for the person. The
unit stands in the heading (``x / cm``) or in the cells (``245 cm``); commas, semicolons or tabs are between them. Lines
that begin with # are remarks.
"""

import csv
import math
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from itertools import permutations
from pathlib import Path
from typing import NamedTuple

from rover.errors import UserError
from rover.events import Find
from rover.files.problems import FileProblems, Problem, nearest
from rover.geometry import XY
from rover.quantities import LENGTH, QuantityError, parse_as, parse_unit
from rover.record.run import TrueFind

EXAMPLE = "number,kind,x / cm,y / cm"
MOST_ALIKE = 7
"""So many of one kind are assigned to their finds by trying all ways to do so: 5040."""
FARTHEST = 5.0
"""What lies farther (m) from all that the field and the run have was hardly measured there."""
_NAMES = {"number": "number", "no": "number", "no.": "number", "find": "number", "kind": "kind", "x": "x", "y": "y"}
_HEAD = re.compile(r"(number|no\.?|find|kind|x|y)(?:\s*(?:[/,(\[_]|\bin\b|\s)\s*([A-Za-z]+)\s*[)\]]?)?", re.IGNORECASE)
_BARE = re.compile(r"[-+]?(\d+\.?\d*|\.\d+)")
_FIND = re.compile(r"[A-Za-z]?(\d{1,6})")


class Measured(NamedTuple):
    """A row: the find's number or the object's kind, where it truly stood (m, field frame), and the row's line."""

    line: int
    number: int | None
    kind: str
    x: float
    y: float


class Matched(NamedTuple):
    """Where the objects of finds truly stood, by the find's number, and the rows that no find is left for."""

    finds: dict[int, TrueFind]
    others: tuple[Measured, ...]


def path_beside(record: Path) -> Path:
    """Return where the measured positions of a run are kept: beside its record."""
    return record.with_suffix(".surveyed.csv")


def read_measured(path: Path) -> list[Measured]:
    """Return the rows of a file.

    Raises:
        UserError: the file cannot be read.
        FileProblems: all that is wrong in it, with file, line and what to write instead.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        raise UserError(f"{path}: not a text in UTF-8; save it as CSV, UTF-8") from None
    except OSError as error:
        raise UserError(f"{path}: {error.strerror}; name the CSV file of the measured positions") from None
    try:
        return _Sheet(path, text).measured()
    except csv.Error as error:
        raise UserError(f"{path}: not a CSV file: {error}; a quotation mark may lack its partner") from None


class _Sheet:
    """The text of a file: its columns, and all that is wrong with it.

    Attributes:
        problems: so far.
    """

    def __init__(self, path: Path, text: str) -> None:
        self._path = path
        first = next((line for line in text.splitlines() if line.strip(" ,;\t") and line.lstrip()[0] != "#"), "")
        self._delimiter = max(",;\t", key=first.count)
        self._rows = list(self._split(text))
        self._columns: dict[str, int] = {}
        self._units: dict[str, str] = {}
        self.problems: list[Problem] = []

    def measured(self) -> list[Measured]:
        """Return the rows.

        Raises:
            FileProblems: something is wrong.
        """
        if not self._rows:
            self._refuse(1, 1, "", f"nothing stands here; the first line names the columns, such as '{EXAMPLE}'")
            raise FileProblems(self.problems)
        (line, heads), *others = self._rows
        self._read_heads(line, heads)
        if self.problems:
            raise FileProblems(self.problems)
        if not others:
            self._refuse(line, 1, "", "no row follows; write one for each object that was measured")
        measured = [self._row(line, cells, len(heads)) for line, cells in others]
        if self.problems:
            raise FileProblems(self.problems)
        return measured

    def _split(self, text: str) -> Iterator[tuple[int, list[str]]]:
        """Yield (line, cells) of the rows in which something stands."""
        reader = csv.reader(text.splitlines(), delimiter=self._delimiter, skipinitialspace=True)
        for cells in reader:
            if any(cell.strip() for cell in cells) and not cells[0].lstrip().startswith("#"):
                yield reader.line_num, [cell.strip() for cell in cells]

    def _refuse(self, line: int, column: int, text: str, why: str) -> None:
        self.problems.append(Problem(str(self._path), line, column, text, why))

    def _read_heads(self, line: int, heads: Sequence[str]) -> None:
        for at, head in enumerate(heads):
            match = _HEAD.fullmatch(head)
            if match is None:
                continue
            name, unit = _NAMES[match[1].lower()], match[2]
            if name in self._columns:
                self._refuse(line, at + 1, head, f"a second column '{name}'; leave one of them out")
            self._columns[name] = at
            if unit and name in ("x", "y"):
                if why := _why_no_length(unit):
                    self._refuse(line, at + 1, head, why)
                self._units[name] = unit
        missing = [name for name in ("x", "y") if name not in self._columns]
        if not self._columns.keys() & {"number", "kind"}:
            missing.insert(0, "number (or kind)")
        if missing:
            why = f"a column is missing: {', '.join(missing)}; the first line names them, such as '{EXAMPLE}'"
            self._refuse(line, 1, ", ".join(heads), why)

    def _row(self, line: int, cells: Sequence[str], due: int) -> Measured:
        if len(cells) > due:
            why = f"{len(cells)} cells under {due} headings; write a decimal point, or semicolons between the cells"
            self._refuse(line, 1, self._delimiter.join(cells), why)
            return Measured(line, None, "", math.nan, math.nan)
        number, kind = self._cell(cells, "number"), self._cell(cells, "kind")
        digits = _FIND.fullmatch(number)
        if number and not digits:
            why = "no number of a find; write it as the report has it, such as 3 or A3"
            self._refuse(line, self._columns["number"] + 1, number, why)
        elif not number and not kind:
            self._refuse(line, 1, "", "neither number nor kind; write which object was measured")
        x, y = self._place(line, cells, "x"), self._place(line, cells, "y")
        return Measured(line, int(digits[1]) if digits else None, kind, x, y)

    def _cell(self, cells: Sequence[str], name: str) -> str:
        at = self._columns.get(name, len(cells))
        return cells[at] if at < len(cells) else ""

    def _place(self, line: int, cells: Sequence[str], name: str) -> float:
        text, unit = self._cell(cells, name), self._units.get(name)
        written = text.replace(",", ".") if self._delimiter != "," else text
        try:
            return parse_as(f"{written} {unit}" if unit and _BARE.fullmatch(written) else written, LENGTH)
        except QuantityError as error:
            why = str(error) if text else f"nothing under '{name}'; write where it stood, or leave the row out"
            self._refuse(line, self._columns[name] + 1, text, why)
            return math.nan


def _why_no_length(unit: str) -> str:
    try:
        dimension, _ = parse_unit(unit)
    except QuantityError as error:
        return str(error)
    return "" if dimension == LENGTH else f"'{unit}' is no unit of length; write m, cm, mm or in"


def matched(
    path: Path, measured: Sequence[Measured], finds: Sequence[Find], *, kinds: Iterable[str], reach: Sequence[XY]
) -> Matched:
    """Return which find of a run each row belongs to.

    Rows with a number say so. Those of one kind without number are assigned to its finds so that the squares of the
    distances have the least sum.

    Args:
        path: for the problems.
        measured: as read.
        finds: of the run.
        kinds: that the run may have met.
        reach: places of field and run (m); what was measured far from all of them is refused. Without any, nothing is.

    Raises:
        FileProblems: rows do not fit the run, with file, line and what to write instead.
    """
    problems = [
        Problem(str(path), row.line, 1, text, why)
        for row in measured
        for text, why in _misfits(row, measured, {find.number: find for find in finds}, set(kinds), reach)
    ]
    true = {row.number: row for row in measured if row.number is not None}
    others: list[Measured] = []
    for kind in dict.fromkeys(row.kind for row in measured if row.number is None):
        alike = [row for row in measured if row.number is None and row.kind == kind]
        left = [find for find in finds if find.kind == kind and find.number not in true]
        if min(len(alike), len(left)) > 1 and max(len(alike), len(left)) > MOST_ALIKE:
            why = f"more than {MOST_ALIKE} of this kind cannot be told apart by their places; write the finds' numbers"
            problems.append(Problem(str(path), alike[0].line, 1, kind, why))
            continue
        pairs = {find.number: row for find, row in _assigned(left, alike)}
        others += [row for row in alike if row not in pairs.values()]
        true |= pairs
    if problems:
        raise FileProblems(problems)
    return Matched({number: TrueFind(number, row.x, row.y) for number, row in sorted(true.items())}, tuple(others))


def _misfits(
    row: Measured, measured: Sequence[Measured], finds: dict[int, Find], kinds: set[str], reach: Sequence[XY]
) -> Iterator[tuple[str, str]]:
    """Yield what of a row does not fit the run, and why."""
    number, kind = row.number, row.kind
    if number is not None and number not in finds:
        known = ", ".join(map(str, finds)) or "none"
        yield str(number), f"the record has no find {number} (it has: {known}); write the kind for what was not found"
    elif number is not None and kind and finds[number].kind != kind:
        why = f"find {number} is '{finds[number].kind}' in the record; if the robot was wrong, leave the kind out"
        yield kind, why
    elif number is None and kind not in kinds:
        yield kind, f"no kind of this run{nearest(kind, kinds)}"
    if number is not None and (times := Counter(one.number for one in measured)[number]) > 1:
        yield str(number), f"find {number} stands in {times} rows; leave one"
    if reach:
        (west, east), (south, north) = ((min(each), max(each)) for each in zip(*reach, strict=True))
        beyond = max(west - row.x, row.x - east, south - row.y, row.y - north)
        if beyond > FARTHEST:
            field = f"x {west:.1f} m to {east:.1f} m, y {south:.1f} m to {north:.1f} m"
            yield f"x {row.x:g} m, y {row.y:g} m", f"{beyond:.0f} m outside the field ({field}); is the unit right?"


def _assigned(finds: Sequence[Find], rows: Sequence[Measured]) -> list[tuple[Find, Measured]]:
    """Return pairs of finds and rows, of the fewer all, with the least sum of squared distances."""

    def off(pairs: Sequence[tuple[Find, Measured]]) -> float:
        return sum((find.x - row.x) ** 2 + (find.y - row.y) ** 2 for find, row in pairs)

    if len(finds) <= len(rows):
        return min((list(zip(finds, some, strict=True)) for some in permutations(rows, len(finds))), key=off)
    return min((list(zip(some, rows, strict=True)) for some in permutations(finds, len(rows))), key=off)


def write_measured(path: Path, rows: Iterable[tuple[Find, XY]]) -> None:
    """Write measured positions (m) of finds.

    Raises:
        OSError: the file cannot be written.
    """
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(("number", "kind", "x / m", "y / m"))
        writer.writerows((find.number, find.kind, f"{x:.4f}", f"{y:.4f}") for find, (x, y) in rows)
