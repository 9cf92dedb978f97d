"""The errand's bookkeeping: what was found, delivered and put off, and which slots of the tray are filled."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from rover.estimate.field import Ground, LookedAt, Slot
from rover.files.errand import Errand

XY = tuple[float, float]
PUT_OFF_RADIUS = 0.20
"""A sighting this near (m) to a place that was put off is that object again."""


@dataclass
class Book:
    """What has been done so far.

    Attributes:
        carried: kind of the object in the jaws, or None.
        filled: slots in which something stands, in the order of filling.
        put_off: places of objects left for later.
        obstacles: places where something unknown was met.
    """

    errand: Errand
    ground: Ground
    looked_at: LookedAt
    carried: str | None = None
    finds: int = 0
    delivered: list[str] = field(default_factory=list)
    filled: list[Slot] = field(default_factory=list)
    put_off: list[XY] = field(default_factory=list)
    obstacles: list[XY] = field(default_factory=list)
    visited_places: int = 0

    @property
    def slot(self) -> Slot | None:
        """The next free slot, None when the tray is full."""
        taken = {slot.number for slot in self.filled}
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

    def is_put_off(self, x: float, y: float) -> bool:
        """Tell whether a sighting is of something that was put off."""
        return any((x - px) ** 2 + (y - py) ** 2 <= PUT_OFF_RADIUS**2 for px, py in self.put_off)
