"""What a record holds for the rules: everything in it that is no matter of course, with its place and what it cost.

Nothing of a rehearsal's truth is looked at, nor of the bench file: a run on the robot has neither.
"""

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from rover.diagnosis.entry import Entry
from rover.diagnosis.visits import Visit, changes_of, visits_of
from rover.diagnosis.words import at_place
from rover.events import GivenUp, Health, HealthChange, HoldBack, Note, ObjectEvent, StateChange, Stop
from rover.record.reader import read_numbered
from rover.record.run import CUT_OFF, RecordedRun

STOP, DOUBT, HEALTH, HELD_BACK, GIVEN_UP = "stop", "doubted", "health", "held back", "given up"
"""Kinds of mention, besides those of notes (``activity``, ``fault``...) and objects (``chosen``, ``gripped``...)."""
AT_START_S = 3.0
"""What ends by itself so soon after the run's start is a matter of course: devices report for the first time."""


@dataclass(frozen=True)
class Mention:
    """Something that the record says: of which kind, in which words, when and where, and how long it lasted or cost.

    Attributes:
        kind: `STOP` ... `GIVEN_UP`, or a note's own.
        text: what is said, as a whole: ``heading overdue``, ``obstacle``, ``pick_up/approach failed: ...``.
        at: when it began, and the entry that says so.
        seconds: how long it lasted; of a failed activity, the visit of its state.
    """

    kind: str
    text: str
    at: Entry
    seconds: float = 0.0


class Evidence:
    """A record, looked at for what is no matter of course.

    Args:
        run: as it is read back.
        numbers: those that its events have in the record; by default from 1.

    Attributes:
        run: as it is read back.
        entries: its events, with their places.
        lasts_s: how long it is.
    """

    def __init__(self, run: RecordedRun, numbers: Sequence[int] = ()) -> None:
        self.run = run
        pairs = zip(run.happenings, numbers or range(1, len(run.happenings) + 1), strict=True)
        self.entries = [Entry(at_ns, event, number) for (at_ns, event), number in pairs]
        self.lasts_s = (run.ended_ns - run.started_ns) * 1e-9

    @cached_property
    def visits(self) -> list[Visit]:
        """The visits of all states."""
        return visits_of(self.entries, self.run.ended_ns)

    @cached_property
    def figures(self) -> Mapping[str, float]:
        """What the run came to know of its devices (`rover.session.figures`); empty where it was cut off."""
        summary = {} if self.run.outcome is None else self.run.outcome.summary
        figures = summary.get("figures")
        return figures if isinstance(figures, Mapping) else {}

    @cached_property
    def mentions(self) -> list[Mention]:
        """All that is no matter of course, in the order of its beginning."""
        found = [*self._health(), *self._hold_backs(), *self._others()]
        return sorted(found, key=lambda one: (one.at.at_ns, one.at.number))

    def seconds_at(self, at_ns: int) -> float:
        """Return the time since the run's start."""
        return (at_ns - self.run.started_ns) * 1e-9

    def visit_at(self, at: Entry) -> Visit | None:
        """Return the visit of the innermost state during which something happened."""
        found = [one for one in self.visits if one.entered.number < at.number]
        return next((one for one in reversed(found) if one.left is None or one.left.number > at.number), None)

    @cached_property
    def ending(self) -> list[Entry]:
        """The changes of state that led to the end, the last one last; none where a stop ended it.

        The last change of an outermost state says all, if its condition is about the world. One that waits for what
        was done, or for a time, says little without the change before it; and where an exit only says that what was
        inside has ended, the change inside that ended it goes before.
        """
        changes = changes_of(self.entries)
        if self.run.outcome is None or self.run.outcome.result in ("stopped", CUT_OFF):
            return []
        outer = [place for place, one in enumerate(changes) if _is_outermost(one)]
        wanted = outer[-1:] if outer and not _waits_for_deed(changes[outer[-1]]) else outer[-2:]
        chosen: list[int] = []
        for place in wanted:
            if _is_only_outcome(changes[place]) and place and not _is_outermost(changes[place - 1]):
                chosen.append(place - 1)
            chosen.append(place)
        return [changes[place] for place in chosen]

    def _health(self) -> Iterator[Mention]:
        begun: dict[str, Entry] = {}
        for happening in self.entries:
            change = happening.event
            if not isinstance(change, HealthChange):
                continue
            if change.health is Health.DOUBTED:
                yield Mention(DOUBT, f"{change.device}: {change.why}", happening, self._to_end(happening))
                continue
            if change.device in begun:
                yield from self._spell(begun.pop(change.device), happening.at_ns)
            if change.health is not Health.OK:
                begun[change.device] = happening
        for happening in begun.values():
            yield from self._spell(happening, None)

    def _spell(self, begin: Entry, end_ns: int | None) -> Iterator[Mention]:
        change = begin.event
        assert isinstance(change, HealthChange)
        seconds = self._to_end(begin) if end_ns is None else (end_ns - begin.at_ns) * 1e-9
        why = f": {change.why}" if change.why else ""
        yield Mention(HEALTH, f"{change.device} {change.health.value}{why}", begin, seconds)

    def _hold_backs(self) -> Iterator[Mention]:
        begun: dict[str, Entry] = {}
        for happening in self.entries:
            match happening.event:
                case HoldBack(cause, ended=False):
                    begun[cause] = happening
                case HoldBack(cause) if cause in begun:
                    begin = begun.pop(cause)
                    seconds = (happening.at_ns - begin.at_ns) * 1e-9
                    if self.seconds_at(happening.at_ns) > AT_START_S:
                        yield Mention(HELD_BACK, cause, begin, seconds)
        for cause, begin in begun.items():
            yield Mention(HELD_BACK, cause, begin, self._to_end(begin))

    def _others(self) -> Iterator[Mention]:
        for happening in self.entries:
            match happening.event:
                case Stop(cause):
                    yield Mention(STOP, cause, happening)
                case GivenUp(kind, x, y, why, number):
                    yield Mention(GIVEN_UP, f"object {number}, {at_place(kind, x, y)}: {why}", happening)
                case ObjectEvent(_, kind, what, x, y, why):
                    yield Mention(what, f"{at_place(kind, x, y)}{f': {why}' if why else ''}", happening)
                case Note("activity", text):
                    visit = self.visit_at(happening)
                    yield Mention("activity", text, happening, 0.0 if visit is None else visit.seconds)
                case Note(kind, text):
                    yield Mention(kind, text, happening)

    def _to_end(self, happening: Entry) -> float:
        return (self.run.ended_ns - happening.at_ns) * 1e-9


def evidence_of(path: Path) -> Evidence:
    """Return the evidence of the record in a file.

    Raises:
        RecordError: it cannot be read.
    """
    return Evidence(*read_numbered(path))


def seconds_of(mentions: Iterable[Mention]) -> float:
    """Return how long some mentions lasted in all."""
    return sum(one.seconds for one in mentions)


def _is_outermost(happening: Entry) -> bool:
    change = happening.event
    assert isinstance(change, StateChange)
    return change.left.partition("/")[0] != change.entered.partition("/")[0]


def _is_only_outcome(happening: Entry) -> bool:
    change = happening.event
    assert isinstance(change, StateChange)
    return change.exit in ("when done", "when failed", "when done or failed")


def _waits_for_deed(happening: Entry) -> bool:
    change = happening.event
    assert isinstance(change, StateChange)
    return change.exit.startswith("after ") or bool(re.search(r"\b(done|failed)\b", change.exit))
