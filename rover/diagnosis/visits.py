"""The visits of a behaviour's states: when each was entered and left, by which exits."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import takewhile

from rover.diagnosis.entry import Entry
from rover.events import StateChange

RESUMED = "resumed"
"""The exit of a state that was entered afresh after a hold or a stop."""


@dataclass(frozen=True)
class Visit:
    """One stay in a state.

    Attributes:
        state: its path.
        entered, left: the changes of state that began and ended it; ``left`` is None of one that the record's end cut.
        ends_ns: when it ended.
    """

    state: str
    entered: Entry
    left: Entry | None
    ends_ns: int

    @property
    def seconds(self) -> float:
        """How long it lasted."""
        return (self.ends_ns - self.entered.at_ns) * 1e-9

    @property
    def exit(self) -> str:
        """The exit by which it was left, '' where it was not."""
        return self.left.event.exit if self.left is not None and isinstance(self.left.event, StateChange) else ""

    @property
    def depth(self) -> int:
        """How many states it is inside of."""
        return self.state.count("/")


def changes_of(entries: Iterable[Entry]) -> list[Entry]:
    """Return the changes of state, in order."""
    return [one for one in entries if isinstance(one.event, StateChange)]


def visits_of(entries: Iterable[Entry], ended_ns: int) -> list[Visit]:
    """Return the visits of all states, of enclosing ones too, in the order in which they were entered.

    The last ones end with the record, at ``ended_ns``.
    """
    visits: list[Visit] = []
    open_ones: list[int] = []  # places among the visits, from the outermost in
    for entry in changes_of(entries):
        change = entry.event
        assert isinstance(change, StateChange)
        kept = _kept(change)
        for place in open_ones[kept:]:
            visits[place] = replace(visits[place], left=entry, ends_ns=entry.at_ns)
        del open_ones[kept:]
        for state in list(_lineage(change.entered))[kept:]:
            open_ones.append(len(visits))
            visits.append(Visit(state, entry, None, ended_ns))
    return visits


def _lineage(path: str) -> Iterator[str]:
    parts = path.split("/")
    return ("/".join(parts[: depth + 1]) for depth in range(len(parts)))


def _kept(change: StateChange) -> int:
    """Return how many states, from the outermost, a change has not left: a state entered again was left before."""
    if not change.left or change.exit == RESUMED:
        return 0
    pairs = zip(_lineage(change.left), _lineage(change.entered), strict=False)
    common = sum(1 for _ in takewhile(lambda pair: pair[0] == pair[1], pairs))
    return common - 1 if change.left == change.entered else common


def inside(visits: Sequence[Visit], outer: Visit) -> list[Visit]:
    """Return the visits of states directly inside another one, while that lasted."""
    return [
        one
        for one in visits
        if one.state.startswith(f"{outer.state}/")
        and one.depth == outer.depth + 1
        and outer.entered.number <= one.entered.number
        and (outer.left is None or one.entered.number < outer.left.number)
    ]
