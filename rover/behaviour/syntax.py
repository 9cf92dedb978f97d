"""A condition's text -> a syntax tree: numbers are joined to the units behind them, then `ast` parses."""

import ast
import keyword
import re
from collections.abc import Mapping
from itertools import takewhile
from typing import NamedTuple

from rover import quantities
from rover.files.problems import nearest
from rover.quantities import Quantity, QuantityError

LONGEST = 500
_NUMBER_UNIT = re.compile(rf"(?<![\w.])((?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)(\s*({quantities.UNIT_PATTERN}))?")
_SETTING_NAME = re.compile(r"(?<=\bsettings\.)[a-z]+\b")


class ConditionError(ValueError):
    """A condition that cannot be used; ``part`` is the text at fault, ``offset`` where it stands in the condition.

    One that ``follows_up`` comes of a mistake that is reported already.
    """

    def __init__(self, why: str, part: str = "", offset: int = 0, *, follows_up: bool = False) -> None:
        self.part = part
        self.offset = offset
        self.follows_up = follows_up
        super().__init__(why)


class Parsed(NamedTuple):
    """A text and its syntax tree.

    Attributes:
        text: without the blanks around it.
        tree: of the text; a quantity is a name of underscores in it, as long as it is written.
        quantities: by the place in the text at which each begins.
    """

    text: str
    tree: ast.expr
    quantities: Mapping[int, Quantity]

    def error(self, node: ast.expr, why: str) -> ConditionError:
        """Return the error of a part of the tree."""
        return ConditionError(why, self.text[node.col_offset : node.end_col_offset], node.col_offset)


CURLY = (
    "\N{LEFT DOUBLE QUOTATION MARK}\N{RIGHT DOUBLE QUOTATION MARK}"
    "\N{LEFT SINGLE QUOTATION MARK}\N{RIGHT SINGLE QUOTATION MARK}"
)
"""Quotes that word processors put for plain ones."""


def parse(text: str) -> Parsed:
    """Return the syntax tree of a text; what its names mean is not looked at.

    Raises:
        ConditionError: it is no expression, or names no unit behind a number.
    """
    if len(text) > LONGEST:
        raise ConditionError(f"longer than {LONGEST} characters; split it into several exits", text[:40])
    text = text.strip(" ")
    odd = next((character for character in text if not " " <= character <= "~"), None)
    if odd is not None:
        cure = "; write a plain blank" if odd.isspace() else "; write a plain quote" if odd in CURLY else ""
        raise ConditionError(f"the character {odd!r} has no meaning here{cure}", odd, text.index(odd))
    found: dict[int, Quantity] = {}
    joined = _SETTING_NAME.sub(_raised, _NUMBER_UNIT.sub(lambda match: _join(match, found), text))
    try:
        return Parsed(text, ast.parse(joined, mode="eval").body, found)
    except SyntaxError as error:
        offset = max((error.offset or 1) - 1, 0)
        part = text[offset : offset + 20] or text
        raise ConditionError(f"not understood{_syntax_hint(text)}", part, offset) from None
    except (ValueError, RecursionError, MemoryError):
        raise ConditionError("not understood: it nests too deeply or holds a character that no text has") from None


def _syntax_hint(text: str) -> str:
    if re.search(r"(?<![<>=!])=(?!=)", text):
        return "; '==' compares"
    if "&&" in text or "||" in text or "!" in text.replace("!=", ""):
        return "; write 'and', 'or', 'not'"
    return "; use and, or, not, comparisons, + - * /, brackets, abs, min, max, wrap"


def _join(match: re.Match[str], found: dict[int, Quantity]) -> str:
    """Replace a number (and its unit) by underscores of the same length, noted by where they stand."""
    number, whole = match[1], match[0]
    unit = _real_unit(match[3], match.end(1))
    kept = len(number) if unit is None else whole.index(unit, len(number)) + len(unit)
    try:
        found[match.start()] = quantities.parse(number + (unit or ""))
    except QuantityError as error:
        raise ConditionError(str(error), whole, match.start()) from None
    return "_" * kept + whole[kept:]


def _real_unit(unit: str | None, offset: int) -> str | None:
    """Return as much of the words behind a number as is a unit; ``2 and``, ``6 m/target.x`` are not one unit."""
    if unit is None or unit == "%":
        return unit
    first, *others = unit.split("/")
    if not _is_unit(first):
        if keyword.iskeyword(first):
            return None
        raise ConditionError(f"'{first}' is not a unit{nearest(first, quantities.UNITS)}", first, offset + 1)
    return "/".join([first, *takewhile(_is_unit, others)])


def _is_unit(part: str) -> bool:
    return part.partition("^")[0] in quantities.UNITS


def _raised(match: re.Match[str]) -> str:
    """Return a setting's name so that the parser takes it: one such as ``in`` in capitals, which no name has."""
    return match[0].upper() if keyword.iskeyword(match[0]) else match[0]


def unit_written(text: str) -> str:
    """Return the unit of a text that is one number with a unit behind it, '' of any other."""
    match = _NUMBER_UNIT.fullmatch(text.strip())
    return (match and match[3]) or ""


def full_name(node: ast.expr) -> str | None:
    """Return the dotted name that a part of a tree stands for; None where it is anything else."""
    if isinstance(node, ast.Name):
        return node.id if not node.id.startswith("_") else None
    if isinstance(node, ast.Attribute):
        front = full_name(node.value)
        return None if front is None else f"{front}.{node.attr}"
    return None
