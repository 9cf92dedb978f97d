"""What a run's time was spent on: in innermost states, and held back."""

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from rover.diagnosis.entry import Entry
from rover.diagnosis.evidence import HELD_BACK, Evidence


class Spent(NamedTuple):
    """Time spent on one thing.

    Attributes:
        what: path of the state, or the hold-back's cause.
        seconds: in all.
        times: how often.
        longest, longest_s: when the longest of them began, and how long it was.
    """

    what: str
    seconds: float
    times: int
    longest: Entry
    longest_s: float


def spent_in_states(evidence: Evidence) -> list[Spent]:
    """Return the time spent in states that have no inner ones, the most first."""
    outer = {visit.state.rpartition("/")[0] for visit in evidence.visits}
    return _summed((one.state, one.seconds, one.entered) for one in evidence.visits if one.state not in outer)


def spent_held_back(evidence: Evidence) -> list[Spent]:
    """Return the time for which each cause held the robot back, the most first."""
    return _summed((one.text, one.seconds, one.at) for one in evidence.mentions if one.kind == HELD_BACK)


def _summed(rows: Iterable[tuple[str, float, Entry]]) -> list[Spent]:
    by_what: dict[str, list[tuple[float, Entry]]] = {}
    for what, lasted, at in rows:
        by_what.setdefault(what, []).append((lasted, at))
    return sorted(_all_of(by_what), key=lambda one: -one.seconds)


def _all_of(by_what: dict[str, list[tuple[float, Entry]]]) -> Iterator[Spent]:
    for what, spells in by_what.items():
        longest_s, longest = max(spells, key=lambda spell: spell[0])
        yield Spent(what, sum(lasted for lasted, _ in spells), len(spells), longest, longest_s)
