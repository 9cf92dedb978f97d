"""The errand's bookkeeping: what was found, delivered and put off, and which slots of the tray are filled."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from rover.estimate.field import Ground, LookedAt, Slot
from rover.files.errand import Errand
from rover.geometry import XY

PUT_OFF_RADIUS = 0.20
"""A sighting this near (m) to the place of something done with is that object again."""
VANISHED_OFTEN = 3
"""What was not there this many times, when the robot came near, is no longer believed in at that place."""
ZONE_MARGIN = 0.06
"""What seems to stand this near (m) to the tray stands in it."""


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
    """What has been done so far.

    Attributes:
        carried: kind of the object in the jaws, or None.
        grip: the last closing of the jaws: an object found is where it was gripped, not where it is looked at.
        filled: slots in which something stands, in the order of filling.
        put_off: objects left for later.
        obstacles: places where something unknown was met.
        vanished: places where something was seen from afar, and nothing was there.
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
    wall_fixes: int = 0
    marker_fixes: int = 0

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
            KeyError, TypeError, ValueError: it does not belong to this errand.
        """
        slots = {slot.number: slot for slot in self.ground.slots}
        self.filled = [Filled(slots[number], str(kind)) for number, kind in saved["filled"]]
        self.delivered = [str(kind) for kind in saved["delivered"]]
        self.finds, self.visited_places = int(saved["finds"]), int(saved["visited_places"])
        self.put_off = [PutOff(str(kind), float(x), float(y)) for kind, x, y in saved["put_off"]]
        self.obstacles = [(float(x), float(y)) for x, y in saved["obstacles"]]
        to_look_at = {int(cell): int(looks) for cell, looks in saved["to_look_at"]}
        self.looked_at.restore(to_look_at)

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

    def is_done_with(self, kind: str, x: float, y: float, sigma: float) -> bool:
        """Tell whether a sighting (m, standard deviation ``sigma``) is of something put off or set down already.

        From far off a distance is vague, so a jar in the tray can seem to stand beyond it.
        """
        if self.ground.in_zone(x, y, ZONE_MARGIN):
            return True
        if sum((x - vx) ** 2 + (y - vy) ** 2 <= PUT_OFF_RADIUS**2 for vx, vy in self.vanished) >= VANISHED_OFTEN:
            return True
        put_off = max(PUT_OFF_RADIUS, sigma)
        if any((x - one.x) ** 2 + (y - one.y) ** 2 <= put_off**2 for one in self.put_off):
            return True
        reach = max(PUT_OFF_RADIUS, 3.0 * sigma)
        return any(
            kind == filled.kind and (x - filled.slot.x) ** 2 + (y - filled.slot.y) ** 2 <= reach**2
            for filled in self.filled
        )
