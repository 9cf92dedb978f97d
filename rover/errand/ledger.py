"""The errand's bookkeeping: what was found, delivered and put off, and which slots of the tray are filled."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from rover.estimate.field import Ground, LookedAt, Slot
from rover.events import Delivery, Event, Find, GivenUp, Note
from rover.files.errand import Errand
from rover.geometry import XY


class StateMismatchError(ValueError):
    """What was saved is of another errand; the message says what does not fit."""


class Grip(NamedTuple):
    """What the jaws last closed on, and where (m, field frame), with the covariance of that (m^2)."""

    kind: str
    x: float
    y: float
    xx: float
    xy: float
    yy: float


class Filled(NamedTuple):
    """A slot of the tray in which an object of a kind was set down."""

    slot: Slot
    kind: str


class PutOff(NamedTuple):
    """An object left for later: its kind and place (m)."""

    kind: str
    x: float
    y: float


@dataclass
class Ledger:
    """What has been done so far. It is changed by its methods alone, which note in ``events`` what happened.

    Attributes:
        carried: kind of the object in the jaws, or None.
        grip: the last closing of the jaws: an object found is where it was gripped, not where it is looked at.
        filled: slots in which something stands, in the order of filling.
        put_off: objects left for later.
        obstacles: places where something unknown was met.
        vanished: places where something was seen from afar, and nothing was there.
        events: of the present step, for the run record.
    """

    errand: Errand
    ground: Ground
    looked_at: LookedAt
    carried: str | None = None
    grip: Grip | None = None
    finds: int = 0
    delivered: list[str] = field(default_factory=list)
    filled: list[Filled] = field(default_factory=list)
    put_off: list[PutOff] = field(default_factory=list)
    obstacles: list[XY] = field(default_factory=list)
    vanished: list[XY] = field(default_factory=list)
    visited_places: int = 0
    events: list[Event] = field(default_factory=list)

    def chose(self, kind: str, x: float, y: float) -> None:
        """Note that an object (m) is the target now."""
        self.events.append(Note("chosen", _at(kind, x, y)))

    def gripped(self, grip: Grip) -> None:
        """Note on what the jaws closed, and where."""
        self.grip = grip
        self.events.append(Note("gripped", _at(grip.kind, grip.x, grip.y)))

    def found(self, grip: Grip) -> None:
        """Enter the object in the jaws as found, and as carried from now on; the search begins afresh."""
        self.carried = grip.kind
        self.finds += 1
        self.looked_at.clear()
        self.events.append(Find(self.finds, *grip))

    def lost(self, x: float, y: float) -> None:
        """Enter what was carried, if anything was, as left at a place (m)."""
        if self.carried is not None:
            self.events.append(GivenUp(self.carried, x, y, "lost on the way"))
            self.carried = None

    def set_down(self, slot: Slot, x: float, y: float, probability: float) -> None:
        """Enter a slot as filled, and what was carried as delivered: let go at (x, y) in m.

        ``probability`` is that of its lying wholly inside the tray.
        """
        self.filled.append(Filled(slot, self.carried or "object"))
        if self.carried is not None:
            self.delivered.append(self.carried)
            self.events.append(Delivery(len(self.delivered), self.carried, slot.number, x, y, probability))
            self.carried = None

    def leave(self, kind: str, x: float, y: float) -> None:
        """Put an object off: it stays where it is (m) for now."""
        self.put_off.append(PutOff(kind, x, y))
        self.events.append(GivenUp(kind, x, y, "put off"))

    def recall(self) -> list[PutOff]:
        """Take up again all that was put off, and return it."""
        recalled, self.put_off = self.put_off, []
        self.events.extend(Note("recalled", _at(*one)) for one in recalled)
        return recalled

    def missed(self, place: XY) -> None:
        """Enter a place (m) where something had been seen from afar, and nothing was there."""
        self.vanished.append(place)

    def met(self, place: XY) -> None:
        """Enter a place (m) where something unknown stands in the way."""
        self.obstacles.append(place)

    def visit(self) -> int:
        """Return the number of the place to visit now; the next call returns the next."""
        self.visited_places += 1
        return self.visited_places - 1

    def saved(self) -> dict[str, Any]:
        """Return what outlasts a change of battery, as plain values. What the jaws held does not: they went limp."""
        return {
            "finds": self.finds,
            "delivered": list(self.delivered),
            "filled": [[filled.slot.number, filled.kind] for filled in self.filled],
            "put_off": [list(one) for one in self.put_off],
            "obstacles": [list(place) for place in self.obstacles],
            "visited_places": self.visited_places,
            "to_look_at": [list(pair) for pair in self.looked_at.looks_wanted.items()],
        }

    def restore(self, saved: Mapping[str, Any]) -> None:
        """Take up again what `saved` returned.

        Raises:
            StateMismatchError: it is of another tray or another field.
            KeyError, TypeError, ValueError: it is not what `saved` returned.
        """
        slots = {slot.number: slot for slot in self.ground.slots}
        if unknown := [number for number, _ in saved["filled"] if number not in slots]:
            raise StateMismatchError(
                f"it has an object in slot {unknown[0]}, and the tray has {len(slots)} slots, from 0"
            )
        self.filled = [Filled(slots[number], str(kind)) for number, kind in saved["filled"]]
        self.delivered = [str(kind) for kind in saved["delivered"]]
        self.finds, self.visited_places = int(saved["finds"]), int(saved["visited_places"])
        self.put_off = [PutOff(str(kind), float(x), float(y)) for kind, x, y in saved["put_off"]]
        self.obstacles = [(float(x), float(y)) for x, y in saved["obstacles"]]
        to_look_at = {int(cell): int(looks) for cell, looks in saved["to_look_at"]}
        try:
            self.looked_at.restore(to_look_at)
        except ValueError as error:
            raise StateMismatchError(str(error)) from error

    @property
    def slot(self) -> Slot | None:
        """The next free slot, None when the tray is full."""
        taken = {filled.slot.number for filled in self.filled}
        return next((slot for slot in self.ground.slots if slot.number not in taken), None)

    def left(self, known: int) -> int:
        """Return how many objects are not in the tray yet: counted, where the errand says how many there are.

        Otherwise those that are known of; at least one until the field has been searched with nothing found.
        """
        if self.errand.expect is not None:
            return max(0, self.errand.expect - len(self.delivered))
        open_ones = known + len(self.put_off) + (1 if self.carried else 0)
        return open_ones if open_ones or self.looked_at.all else 1

    def kinds_now(self) -> Sequence[str] | None:
        """Return the kinds to fetch now, first come first, by the errand's order; None for any."""
        order: Any = self.errand.order
        if isinstance(order, list):
            return [str(kind) for kind in order]
        if order == "in turn" and self.errand.kinds:
            kinds = list(self.errand.kinds)
            start = len(self.delivered) % len(kinds)
            return kinds[start:] + kinds[:start]
        return None


def _at(kind: str, x: float, y: float) -> str:
    return f"{kind} at x {x:.2f} m, y {y:.2f} m"
