"""What one check found, for `rover check`, the start of a run and bring-up; as a table, in long form, and as JSON."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum


class Verdict(StrEnum):
    """What a check came to. ``NOTED`` is not as expected either, but in nobody's way."""

    AS_EXPECTED = "as expected"
    NOTED = "noted"
    OTHERWISE = "not as expected"
    NOT_TRIED = "not tried"


IN_TABLE = {
    Verdict.AS_EXPECTED: "ok",
    Verdict.NOTED: "note",
    Verdict.OTHERWISE: "NOT OK",
    Verdict.NOT_TRIED: "not tried",
}
"""The verdicts in a table's last column."""


@dataclass(frozen=True)
class Correction:
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
        check: its name.
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
    changes: tuple[Correction, ...] = ()
    alternatives: tuple[Correction, ...] = ()

    def in_full(self) -> str:
        """Return lines for a person, one for each thing that there is to say."""
        rows = [
            ("measured", self.measured),
            ("expected", self.expected),
            *(("mistake", mistake) for mistake in self.mistakes),
            *(("change", str(each)) for each in self.changes),
            *(("or else", f"{each}, if the wheel that was commanded turned forwards") for each in self.alternatives),
            *(("try", advice) for advice in self.advice),
        ]
        lines = [f"    {name:<9} {text}" for name, text in rows if text]
        return "\n".join([f"{self.check:<13} {self.verdict}", *lines])


def judged(
    check: str, fits: bool, measured: str, expected: str, *advice: str, otherwise: Verdict = Verdict.OTHERWISE
) -> Finding:
    """Return a finding that needs no more than yes or no; advice goes along only with no."""
    if fits:
        return Finding(check, Verdict.AS_EXPECTED, measured, expected)
    return Finding(check, otherwise, measured, expected, advice=tuple(filter(None, advice)))


def not_tried(check: str, why: str, expected: str, *advice: str) -> Finding:
    """Return the finding of a check that could not be made."""
    return Finding(check, Verdict.NOT_TRIED, why, expected, advice=advice)


def table(findings: Sequence[Finding]) -> list[str]:
    """Return findings as aligned lines, each with its advice below it."""
    rows = [(each.check, each.measured, each.expected, IN_TABLE[each.verdict]) for each in findings]
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    lines = []
    for row, finding in zip(rows, findings, strict=True):
        lines.append("  ".join(f"{cell:<{width}}" for cell, width in zip(row, widths, strict=True)).rstrip())
        lines += [f"  {advice}" for advice in finding.advice]
    return lines
