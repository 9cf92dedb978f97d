"""What a step decided held against what the record has of it: the same, the same but for last digits, or different."""

import math
import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from itertools import zip_longest
from typing import Any, NamedTuple

from rover.core import Core, StepReadings, StepRecord
from rover.events import Event, HealthChange, Note, StateChange
from rover.record import schema
from rover.record.run import CUT_OFF, RecordedRun, TrackSample
from rover.record.steps import Commands, commands_of

TOLERANCE = 1e-6
"""Numbers (m, rad, duty) that differ by no more than this, or this share of them, differ by rounding: another processor
or library rounds the last of 16 digits otherwise, and a run of an hour carries that on. No threshold is as fine."""
HOST_NOTES = ("loop", "refused", "record", "link", "driver", "unknown")
"""Kinds of the notes that the host of a run makes, besides those of `HOST_FAULTS`; the core decides nothing by them."""
ACTIVITY_RAISED = "activity of '"
IMPOSSIBLE = "gives impossible values ("
_NUMBER = re.compile(r"-?\d+(?:\.\d+)?(?:e[-+]?\d+)?")


@dataclass(frozen=True, slots=True)
class Difference:
    """Where something was decided otherwise than the record has it.

    Attributes:
        at_ns: time of the step; robot time.
        step: its number, from 1.
        state: the behaviour's after it.
        what: what differs, such as ``event`` or ``commands``.
        recorded, replayed: as the record and as the replay have it, in words; empty for nothing.
    """

    at_ns: int
    step: int
    state: str
    what: str
    recorded: str
    replayed: str


class Rounding(NamedTuple):
    """Numbers that differ in their last digits: how many, since when, and by how much at most (m, rad, duty, ...)."""

    numbers: int = 0
    since_ns: int = 0
    most: float = 0.0


class Comparison:
    """Holds the steps of a replay against a record, one after the other.

    Args:
        run: the record.
        from_ns: steps before this are not looked at.

    Attributes:
        compared: how many events, places and commands were looked at.
        rounding: what differs by rounding only.
        steps: taken so far.
    """

    def __init__(self, run: RecordedRun, from_ns: int) -> None:
        self.compared: Counter[str] = Counter()
        self.rounding = Rounding()
        self.steps = 0
        self._from_ns, self._unfinished_ns = from_ns, _unfinished_from(run)
        self._events: dict[int, list[Event]] = {}
        for at_ns, event in run.happenings:
            if not is_hosts(event):
                self._events.setdefault(at_ns, []).append(event)
        self._track = {sample.at_ns: sample for sample in run.track}

    def take(
        self, given: StepReadings, decided: StepRecord, core: Core, commands: Commands | None
    ) -> Difference | None:
        """Return the first difference in a step; ``commands`` are the recorded ones, None where none were recorded."""
        self.steps += 1
        now_ns = given.now_ns
        recorded, sample = self._events.pop(now_ns, []), self._track.get(now_ns)
        if now_ns < self._from_ns:
            return None
        for what, before, after in self._pairs(recorded, decided, core, sample, commands):
            self.compared[what] += 1
            if before is None and now_ns >= self._unfinished_ns:
                continue  # the last that was written, perhaps not the whole step
            off = distance(before, after)
            if off > TOLERANCE:
                return Difference(now_ns, self.steps, decided.state, what, _in_words(before), _in_words(after))
            if off:
                self._round(now_ns, off)
        return None

    def _pairs(
        self,
        recorded: Sequence[Event],
        decided: StepRecord,
        core: Core,
        sample: TrackSample | None,
        commands: Commands | None,
    ) -> Iterator[tuple[str, Any, Any]]:
        for before, after in zip_longest(recorded, decided.events):
            yield "events", before, None if after is None else _as_recorded(after)
        now = commands_of(decided)
        if commands is not None:
            yield "commands", commands, now
        if sample is not None:
            yield "places", (sample.point, sample.duties), (core.track_point(), (now.left, now.right))

    def _round(self, now_ns: int, off: float) -> None:
        before = self.rounding
        since_ns = before.since_ns if before.numbers else now_ns
        self.rounding = Rounding(before.numbers + 1, since_ns, max(before.most, off))

    def left_over(self, until_ns: int) -> Difference | None:
        """Return the first recorded event, up to a time, for which there was no step at all."""
        for at_ns in sorted(self._events):
            if self._from_ns <= at_ns <= until_ns:
                return Difference(at_ns, self.steps, "", "events", _in_words(self._events[at_ns][0]), "no such step")
        return None


def _unfinished_from(run: RecordedRun) -> int:
    """Return the time from which on the record may lack what belongs to a step that it has, since the run was cut."""
    is_whole = run.outcome is not None and run.outcome.result not in ("stopped", CUT_OFF)
    return run.ended_ns + 1 if is_whole else run.ended_ns


def is_hosts(event: Event) -> bool:
    """Tell whether the host of a run noted something, and not the core."""
    if not isinstance(event, Note):
        return False
    return event.kind in HOST_NOTES or (event.kind == "fault" and not event.text.startswith(ACTIVITY_RAISED))


def _as_recorded(event: Event) -> Event:
    """Return an event as its record gives it back."""
    made: Event = schema.entry_from(type(event), schema.entry_row(event))
    return made


def distance(one: Any, other: Any) -> float:
    """Return by how much two recorded values differ: 0.0 for the same, infinity where it is no matter of numbers.

    Numbers count by their difference, or as a share of them if they are larger than 1. Of an exit's place in a file the
    line counts, of a fault's traceback its first and last line: where files lie differs from computer to computer.
    """
    match one, other:
        case (bool() | None, _) | (_, bool() | None):
            return 0.0 if one is other else math.inf
        case (int() | float(), int() | float()):
            return _apart(one, other)
        case (str(), str()):
            return 0.0 if one == other else _texts_apart(one, other)
        case (Mapping(), Mapping()):
            return _farthest(one.values(), other.values()) if list(one) == list(other) else math.inf
        case (tuple() | list(), tuple() | list()):
            return _farthest(one, other) if len(one) == len(other) else math.inf
    if type(one) is not type(other):
        return math.inf
    if not hasattr(one, "__dataclass_fields__"):
        return 0.0 if one == other else math.inf
    return _farthest(_comparable(one), _comparable(other))


def _comparable(event: Any) -> list[Any]:
    match event:
        case StateChange():
            line = event.where.rpartition(":")[2]
            return [event.left, event.entered, event.exit, line, event.values]
        case Note("fault", text):
            lines = text.rstrip().splitlines() or [""]
            return ["fault", lines[0], lines[-1]]
        case HealthChange(why=why) if why.startswith(IMPOSSIBLE):
            return [event.device, event.health, IMPOSSIBLE]
    return [getattr(event, field.name) for field in fields(event)]


def _farthest(some: Any, others: Any) -> float:
    return max((distance(one, other) for one, other in zip(some, others, strict=True)), default=0.0)


def _apart(one: float, other: float) -> float:
    if one == other or (one != one and other != other):
        return 0.0
    off = abs(one - other) / max(1.0, abs(one), abs(other))
    return off if off == off else math.inf


def _texts_apart(one: str, other: str) -> float:
    """Return what the numbers in two texts differ by; one in its last digit may be rounded otherwise."""
    if _NUMBER.sub("#", one) != _NUMBER.sub("#", other):
        return math.inf
    farthest = 0.0
    for before, after in zip(_NUMBER.findall(one), _NUMBER.findall(other), strict=True):
        if before == after:
            continue
        decimals = len(before.partition(".")[2])
        if not decimals or abs(float(before) - float(after)) > 1.01 * 10**-decimals:
            return math.inf
        farthest = TOLERANCE
    return farthest


def _in_words(what: Any) -> str:
    """Return an event, commands or a place in one line."""
    match what:
        case None:
            return ""
        case StateChange():
            values = ", ".join(
                f"{name} {value:.6g}" if isinstance(value, float) else f"{name} {value}"
                for name, value in what.values.items()
            )
            return f"{what.left or 'the start'} -> {what.entered}: {what.exit} ({what.where}){values and '; '}{values}"
        case Commands(left, right, opening):
            return f"duties {left!r}, {right!r}, jaws {opening!r}"
        case (point, (left, right)):
            x, y, heading = point.x, point.y, point.heading
            return f"x {x!r} m, y {y!r} m, heading {heading!r} rad, duties {left!r}, {right!r}, state {point.state}"
    pairs = ", ".join(f"{field.name} {getattr(what, field.name)}" for field in fields(what))
    return f"{type(what).__name__}: {pairs}".partition("\n")[0]
