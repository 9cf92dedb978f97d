"""The lines of a bench file's fault schedule: ``at 12 s: heading silent for 3 s``.

A line is a time, what happens, and mostly how long it lasts. What can happen is in `rover.files.fault_table`.
"""

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Annotated, Any, Final

from pydantic import BeforeValidator

from rover import quantities
from rover.devices.families import FAMILIES
from rover.files.fault_table import FAULTS, LOSSES, NAMED, Fault
from rover.files.problems import meant, nearest
from rover.files.types import NAME_PATTERN, Due
from rover.quantities import TIME, QuantityError


@dataclass(frozen=True)
class AtTime:
    """So many seconds from the start."""

    seconds: float


@dataclass(frozen=True)
class OnEntering:
    """When a state is entered, by its path (``carry/turn``; ``carry`` is entered with any of its states).

    ``every`` is 0 for the first time only, else each so-many-th time.
    """

    state: str
    every: int = 0


@dataclass(frozen=True)
class AtRandom:
    """At any time; between the end of one and the next lie so many seconds in the mean."""

    mean: float


When = AtTime | OnEntering | AtRandom


@dataclass(frozen=True)
class ScheduledFault:
    """One line of ``faults``.

    Attributes:
        when: it begins.
        fault: the row of the table.
        of: whom it happens to, as the line names them: one of the row's, or a further device's name.
        lasts: s; infinite when the line does not say, 0 for what happens at once.
        given: what it takes, in SI units; 0 when that is nothing, or a point.
        place: the point that it takes (m).
        which: the jar's number, or the wall's name.
    """

    when: When
    fault: Fault
    of: str
    lasts: float = math.inf
    given: float = 0.0
    place: tuple[float, float] = (0.0, 0.0)
    which: str = ""

    @property
    def device(self) -> str:
        """The device whose reports it changes, as the robot file calls it, or ``link``; '' for none."""
        return self.of.replace(" ", "_") if self.fault.reports else ""

    @property
    def further(self) -> str:
        """The name of the further device that it is about; '' for one of the table's."""
        return "" if self.of in self.fault.of else self.of


FORM = "write it as in 'at 12 s: heading silent for 3 s'"
_LINE = re.compile(r"(?P<when>[^:]*?)\s*:\s*(?P<what>.+?)(?:\s+for\s+(?P<lasts>.+))?", re.DOTALL)
_ENTERING = re.compile(r"on entering (?P<state>\S+)(?:\s+every(?:\s+(?P<every>\d+)(?:st|nd|rd|th))?\s+time)?")
_STATE = re.compile(rf"{NAME_PATTERN.pattern}(?:[/.]{NAME_PATTERN.pattern})*")
_WHENS = "'at 12 s', 'on entering STATE', 'on entering STATE every 2nd time', 'at random every 40 s'"
SUBJECTS: Final = tuple(dict.fromkeys(of for fault in FAULTS for of in fault.of))
"""Whom a fault can happen to, besides further devices."""
_OF_SEVERAL = tuple(name for name, family in FAMILIES.items() if family.may_be_several)


def parse_fault(value: Any) -> ScheduledFault:
    """Return the fault that a line means; YAML reads an unquoted line as a mapping of one key, which is taken too.

    Which states, walls and further devices there are, a line does not know: `rover.files.bench.fault_mistakes`.

    Raises:
        ValueError: the line is not of the form, or names an unknown device or fault; the text says what is allowed.
    """
    if isinstance(value, ScheduledFault):
        return value
    if isinstance(value, dict) and len(value) == 1:
        value = ": ".join(map(str, *value.items()))
    match = _LINE.fullmatch(" ".join(value.split())) if isinstance(value, str) else None
    if match is None:
        raise ValueError(f"'{value}' is no fault; {FORM}")
    when = _when(match["when"], str(value))
    of, which, words = _whom(match["what"])
    fault, given = _what(of, words)
    lasts = _length(fault, match["what"], match["lasts"])
    is_point = isinstance(given, tuple)
    return ScheduledFault(when, fault, of, lasts, 0.0 if is_point else given, given if is_point else (0.0, 0.0), which)


def losses_of(name: str, family: str) -> dict[str, str]:
    """Return how a device is lost, ``silent``, ``stuck`` and ``lying``, as the words of a line without its time.

    Args:
        name: what the robot file calls the device, or ``link``.
        family: its family, or ``link``; one of none has no losses.
    """
    own = family.replace("_", " ")
    return {
        way: words if name == family else words.replace(own, name, 1) for way, words in LOSSES.get(family, {}).items()
    }


def _when(text: str, line: str) -> When:
    if text.startswith("at random"):
        often = re.fullmatch(r"at random every (.+)", text)
        if often is None:
            raise ValueError(f"'{text}' lacks how often: write 'at random every 40 s'")
        mean = _time(often[1], "every")
        if mean == 0.0:
            raise ValueError(f"after 'every': '{often[1]}' must be more than zero")
        return AtRandom(mean)
    if text.startswith("at "):
        return AtTime(_time(text.removeprefix("at "), "at"))
    if entering := _ENTERING.fullmatch(text):
        if not _STATE.fullmatch(entering["state"]):
            raise ValueError(f"'{entering['state']}' is no state; write its path, such as 'carry' or 'carry/turn'")
        every = int(entering["every"] or 1) if "every" in text.split() else 0
        if entering["every"] and every == 0:
            raise ValueError(f"'{text}': there is no 0th time; write 'every 2nd time' or 'every time'")
        return OnEntering(entering["state"].replace(".", "/"), every)
    if not text.startswith("on "):
        raise ValueError(f"'{line}' is no fault; {FORM}")
    raise ValueError(f"'{text}' is no time for a fault; write {_WHENS}")


def _time(text: str, after: str) -> float:
    try:
        seconds = quantities.parse_as(text, TIME)
    except QuantityError as error:
        raise ValueError(f"after '{after}': {error}") from None
    if seconds < 0.0:
        raise ValueError(f"after '{after}': '{text}' must not be negative")
    return seconds


def _whom(what: str) -> tuple[str, str, str]:
    """Return whom a fault happens to, which one of them, and the words behind."""
    first, _, behind = what.partition(" ")
    if first in FAMILIES:  # stop_input, as the robot file has it
        what = f"{first.replace('_', ' ')} {behind}"
    for subject in sorted(SUBJECTS, key=len, reverse=True):
        if not what.startswith(f"{subject} "):
            continue
        rest = what.removeprefix(subject).strip()
        if subject not in NAMED:
            return subject, "", rest
        which, _, words = rest.partition(" ")
        if which.isdecimal() if NAMED[subject] == "number" else NAME_PATTERN.fullmatch(which):
            return subject, which, words
        raise ValueError(f"'{what}': which {subject}? Its {NAMED[subject]} is due, as in '{_example(subject)}'")
    name, _, words = what.partition(" ")
    if words and NAME_PATTERN.fullmatch(name) and _rows(words, _OF_SEVERAL):
        return name, "", words
    raise ValueError(
        f"'{what}' is no fault: '<device> <fault>', 'counts jump of 400' or 'jar 3 moved to [1 m, 2 m]' is due"
        f"{nearest(name, SUBJECTS)}"
    )


def _rows(words: str, subjects: Iterable[str]) -> list[Fault]:
    """Return the faults of some subjects that begin with these words, the longest first."""
    subjects = set(subjects)
    found = (
        fault
        for fault in FAULTS
        if not subjects.isdisjoint(fault.of)
        and (words == fault.words or (fault.takes and words.startswith(f"{fault.words} ")))
    )
    return sorted(found, key=lambda fault: len(fault.words), reverse=True)


def _what(of: str, words: str) -> tuple[Fault, Any]:
    """Return the row that some words mean, and what they give it."""
    rows = _rows(words, [of] if of in SUBJECTS else _OF_SEVERAL)
    if not rows:
        raise ValueError(why_no_fault(words, of, of))
    refused = None
    for fault in rows:
        if fault.takes is None:
            return fault, 0.0
        text = words.removeprefix(fault.words).strip()
        if not text:
            refused = refused or f"'{of} {words}': {fault.takes.words} is due, as in '{of} {fault.example}'"
            continue
        try:
            return fault, fault.takes.read(text)
        except ValueError as error:
            refused = refused or f"after '{fault.words}': {error}"
    raise ValueError(refused)


def why_no_fault(words: str, of: str, subject: str) -> str:
    """Return what is to be said of words that are no fault of something, which is one of `SUBJECTS` or like it."""
    known = _faults_of(subject)
    near = meant(words, [fault.words for fault in known])
    hint = f"; did you mean '{near}'?" if near else ""
    return f"'{words}' is no fault of '{of}' (allowed: {', '.join(fault.form for fault in known)}){hint}"


def _faults_of(of: str) -> Sequence[Fault]:
    return [fault for fault in FAULTS if of in fault.of]


def _example(subject: str) -> str:
    which = "3" if NAMED[subject] == "number" else "north"
    return f"{subject} {which} {_faults_of(subject)[0].example}"


def _length(fault: Fault, what: str, lasts: str | None) -> float:
    if fault.is_at_once:
        if lasts:
            raise ValueError(f"'{what}' happens at once; leave out 'for {lasts}'")
        return 0.0
    if lasts is None and fault.needs_end:
        raise ValueError(f"'{what}' comes to an end: say when, as in '{what} for 2 s'")
    return math.inf if lasts is None else _time(lasts, "for")


FaultLine = Annotated[ScheduledFault, BeforeValidator(parse_fault), Due("line")]
