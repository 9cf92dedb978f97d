"""What became of each object that a run knew of, followed through its events: of those not in the tray, why."""

from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace

from rover.events import BELIEVED, Delivery, Event, Find, GivenUp, ObjectEvent

NEVER_CHOSEN = "seen, and not gone for before the end"
NOT_REACHED = "gone for, and not held before the end"
STILL_HELD = "still in the jaws at the end"
ONLY_SEEN = (NEVER_CHOSEN, NOT_REACHED)


@dataclass(frozen=True)
class Fate:
    """What is known of an object.

    Attributes:
        number, kind: of it.
        x, y: where it was last known to be (m, field frame).
        why_not_in: why it is not in the tray; '' for one that is, and for what proved to be nothing.
        at: which of the events taken in told so, counted from 0.
        is_believed: it was set down, and nothing could tell whether it is there.
    """

    number: int
    kind: str
    x: float
    y: float
    why_not_in: str
    at: int
    is_believed: bool = False


class Fates:
    """Follows the objects of a run."""

    def __init__(self) -> None:
        self._by_number: dict[int, Fate] = {}
        self._taken = 0

    def take(self, event: Event) -> None:
        """Take an event in."""
        match event:
            case ObjectEvent():
                self._take(event)
            case Find(kind=kind, x=x, y=y, object=number):
                self._set(Fate(number, kind, x, y, STILL_HELD, self._taken))
            case GivenUp(kind, x, y, why, number):
                self._set(Fate(number, kind, x, y, why, self._taken))
            case Delivery(kind=kind, x=x, y=y, known_by=known_by, object=number):
                self._set(Fate(number, kind, x, y, "", self._taken, known_by == BELIEVED))
        self._taken += 1

    def _take(self, event: ObjectEvent) -> None:
        before = self._by_number.get(event.number)
        fate = Fate(
            event.number, event.kind, event.x, event.y, "" if before is None else before.why_not_in, self._taken
        )
        match event.what:
            case "seen" | "recalled":
                self._set(replace(fate, why_not_in=NEVER_CHOSEN))
            case "seen again" if before is None or not before.why_not_in:
                self._set(replace(fate, why_not_in=NEVER_CHOSEN))
            case "chosen" | "tried":
                self._set(replace(fate, why_not_in=NOT_REACHED))
            case "gripped again":
                self._set(replace(fate, why_not_in=STILL_HELD))
            case "forgotten" if before is not None and before.why_not_in in ONLY_SEEN:
                self._set(replace(fate, why_not_in=""))
            case "seen in the tray":
                self._set(replace(fate, why_not_in=""))

    def _set(self, fate: Fate) -> None:
        self._by_number[fate.number] = fate

    def not_in(self, kinds: Collection[str], left: int | None) -> list[Fate]:
        """Return those of some kinds that are not in the tray, by number.

        ``left`` is how many the ledger has as left, None where nobody knows. What was only seen may have been another
        one, seen from afar: of these there are no more than that leaves, the latest.
        """
        out = [fate for fate in self._by_number.values() if fate.why_not_in and fate.kind in kinds]
        seen = sorted((fate for fate in out if fate.why_not_in in ONLY_SEEN), key=lambda fate: fate.at)
        sure = [fate for fate in out if fate.why_not_in not in ONLY_SEEN]
        if left is not None:
            seen = seen[max(len(seen) - max(left - len(sure), 0), 0) :]
        return sorted([*sure, *seen], key=lambda fate: fate.number)

    def believed(self) -> Iterator[Fate]:
        """Yield those that are only believed to be in the tray, by number."""
        return (fate for _, fate in sorted(self._by_number.items()) if fate.is_believed)
