"""How the answers are written: times from the run's start, places in the record, lines of 80 columns."""

import textwrap

from rover.awaited import in_words
from rover.diagnosis.entry import Entry
from rover.events import StateChange
from rover.record.run import RecordedRun

WIDTH = 80
_UNBROKEN = "\0"
"""Stands for a space at which no line is broken."""


def times(number: int) -> str:
    """Return how often, in words."""
    return {1: "once", 2: "twice"}.get(number, f"{number} times")


def counted(number: int, one: str, more: str = "") -> str:
    """Return a number of things: ``1 object``, ``3 objects``."""
    return f"{number} {one if number == 1 else more or f'{one}s'}"


def seconds(at_ns: int, run: RecordedRun) -> str:
    """Return a time, counted from the run's start: ``83.2 s``."""
    return f"{(at_ns - run.started_ns) * 1e-9:.1f} s"


def place(at: Entry | None, run: RecordedRun) -> str:
    """Return where in the record something stands: ``[83.2 s, entry 41]``; ``[at its end]`` of the final figures."""
    text = "[at its end]" if at is None else f"[{seconds(at.at_ns, run)}, entry {at.number}]"
    return text.replace(" ", _UNBROKEN)


def at_place(kind: str, x: float, y: float) -> str:
    """Return an object and its place (m)."""
    return f"{kind} at x {x:.2f} m, y {y:.2f} m"


def shown(value: object) -> str:
    """Return a signal's value as a person reads it."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.4g}" if value == value else "not known"
    return "not known" if value is None else str(value)


def saw(change: StateChange) -> str:
    """Return what a change's condition saw; '' if nothing."""
    seen = ", ".join(f"{name} {shown(value)}" for name, value in change.values.items())
    return f"; it saw {seen}" if seen else ""


def duration(length_s: float) -> str:
    """Return a length of time for a person: ``83.2 s``, ``14 min 3 s``."""
    if length_s < 120.0:
        return f"{length_s:.1f} s"
    minutes, rest = divmod(round(length_s), 60)
    return f"{minutes} min {rest} s"


def more_on(change: StateChange) -> str:
    """Return what else there is to say of a change: how what was done had ended, what it waited for, spent tries."""
    outcome = f"; {change.outcome}" if change.outcome not in ("", "done") else ""
    spent = "".join(
        f"; not to '{one.state}', whose {counted(one.tries, 'try', 'tries')} had been used up"
        for one in change.diversions
    )
    waited = [one for one in change.awaited if one.left_s is None]
    hoped = "; ".join(in_words(one) for one in waited)
    return f"{outcome}{spent}" + (f"; it had waited for: {hoped}" if hoped else "")


def paragraph(text: str, indent: str = "", first: str | None = None) -> str:
    """Return a text broken into lines; ``first`` stands before its first line instead of the ``indent``."""
    begin = indent if first is None else first
    broken = textwrap.wrap(
        text, WIDTH, initial_indent=begin, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False
    )
    return "\n".join(broken).replace(_UNBROKEN, " ")


def item(text: str, first: str = "  ") -> str:
    """Return one of several texts below a heading, its further lines set in."""
    return paragraph(text, f"{' ' * len(first)}  ", first)
