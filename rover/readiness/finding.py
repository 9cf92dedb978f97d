"""What a check found: measured, expected, verdict, what to try, and which line of the robot file to change."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from enum import Enum
from typing import Any

from rover.files.yaml_source import Source


class Verdict(Enum):
    """What a check came to."""

    AS_EXPECTED = "as expected"
    OTHERWISE = "not as expected"
    NOT_TRIED = "not tried"


@dataclass(frozen=True)
class Change:
    """A line of the robot file, and what to write there: ``text`` such as ``swap_sides: true``."""

    file: str
    line: int
    column: int
    where: str
    text: str
    is_new: bool

    def __str__(self) -> str:
        what = f"add '{self.text}' to" if self.is_new else f"write '{self.text}' in"
        return f"{self.file}:{self.line}:{self.column}: {what} '{self.where}:'"


@dataclass(frozen=True)
class Finding:
    """One check's result, in words for a person.

    Attributes:
        mistakes: what is wrong, one short phrase each.
        advice: what to try.
        changes: lines of the robot file to change.
        alternatives: lines to change instead, where the encoders alone cannot tell which.
    """

    check: str
    verdict: Verdict
    measured: str
    expected: str
    mistakes: tuple[str, ...] = ()
    advice: tuple[str, ...] = ()
    changes: tuple[Change, ...] = ()
    alternatives: tuple[Change, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """Return what JSON can hold."""
        return asdict(self) | {"verdict": self.verdict.value}


def judged(check: str, fits: bool, measured: str, expected: str, *advice: str) -> Finding:
    """Return a finding that needs no more than yes or no; advice goes along only with no."""
    if fits:
        return Finding(check, Verdict.AS_EXPECTED, measured, expected)
    return Finding(check, Verdict.OTHERWISE, measured, expected, advice=advice)


def not_tried(check: str, why: str, expected: str, *advice: str) -> Finding:
    """Return the finding of a check that could not be made."""
    return Finding(check, Verdict.NOT_TRIED, why, expected, advice=advice)


def change(source: Source, family: str, key: str, value: str) -> Change:
    """Return the change of a device's key: at the key's line, or at the device's where the key is still missing."""
    where = ("devices", family, key)
    spot = source.spot(where, of_key=True)
    return Change(source.name, spot.line, spot.column, f"devices.{family}", f"{key}: {value}", not _has(source, where))


def _has(source: Source, where: tuple[str, ...]) -> bool:
    values: Any = source.values
    for part in where:
        if not isinstance(values, Mapping) or part not in values:
            return False
        values = values[part]
    return True


def told(finding: Finding) -> str:
    """Return a finding as lines for a person."""
    rows = [
        ("measured", finding.measured),
        ("expected", finding.expected),
        *(("mistake", mistake) for mistake in finding.mistakes),
        *(("change", str(each)) for each in finding.changes),
        *(("or else", f"{each}, if the wheel that was commanded turned forwards") for each in finding.alternatives),
        *(("try", advice) for advice in finding.advice),
    ]
    lines = [f"    {name:<9} {text}" for name, text in rows if text]
    return "\n".join([f"{finding.check:<13} {finding.verdict.value}", *lines])
