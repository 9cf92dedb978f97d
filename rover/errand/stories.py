"""Each object's own story: it has one number for the whole run, and what becomes of it is noted as events.

For the record alone: nothing is decided by it.
"""

import math
from dataclasses import dataclass

from rover.events import Event, ObjectEvent

SAME_PLACE = 0.25
"""What is seen this near (m) to where an object of its kind was last known of, and is no more, is that again."""


@dataclass(slots=True)
class _Told:
    """An object: its number, kind, and where it was last known to be (m); ``is_open`` while it is remembered there."""

    number: int
    kind: str
    x: float
    y: float
    is_open: bool = True


class Stories:
    """Numbers the objects of a run, from 1 in the order in which they were first believed in.

    Args:
        events: of the present step; what happens to an object is noted there.

    Attributes:
        target: number of the object that was chosen last; 0 before the first.
        held: number of the object in the jaws, as far as it was found; 0 for none.
        grip: what was told of the grip since the jaws closed: held, not held, or nothing yet.
    """

    def __init__(self, events: list[Event]) -> None:
        self.target = self.held = 0
        self.grip: bool | None = None
        self._events = events
        self._told: list[_Told] = []
        self._by_memory: dict[int, int] = {}
        self._by_find: dict[int, int] = {}

    def knows(self, memory: int) -> bool:
        """Tell whether an object, by its number in the target memory, has a place here."""
        return memory in self._by_memory

    def see(self, memory: int, kind: str, x: float, y: float, how: str) -> None:
        """Note that an object of the target memory is believed in: a new one, or one that was known of before."""
        again = self._again(kind, x, y)
        told = again or self._new(kind, x, y)
        self._by_memory[memory] = told.number
        told.x, told.y, told.is_open = x, y, True
        self._note(told, "seen again" if again else "seen", how)

    def recall(self, memory: int, kind: str, x: float, y: float) -> None:
        """Note that an object put off at a place (m) is taken up again, under a new number of the target memory."""
        told = self._again(kind, x, y) or self._new(kind, x, y)
        self._by_memory[memory], told.is_open = told.number, True
        self._note(told, "recalled", "")

    def forget(self, memory: int, why: str) -> None:
        """Note that an object is not believed in any more."""
        if memory in self._by_memory:
            told = self._told[self._by_memory[memory] - 1]
            told.is_open = False
            self._note(told, "forgotten", why)

    def choose(self, memory: int, x: float, y: float) -> None:
        """Note that an object is the target now, at a place (m)."""
        self.target = self._by_memory.get(memory, 0)
        self.happens("chosen", x, y)

    def happens(self, what: str, x: float, y: float, why: str = "") -> None:
        """Note what happens to the target at a place (m)."""
        if self.target:
            told = self._told[self.target - 1]
            told.x, told.y = x, y
            self._note(told, what, why)

    def close_jaws(self, x: float, y: float) -> None:
        """Note that the jaws closed, at a place (m); what tells of the grip does so from now on."""
        self.grip = None
        self.happens("gripped", x, y)

    def tell_grip(self, x: float, y: float, *, is_held: bool, evidence: str) -> None:
        """Note what is told of the grip, at a place (m)."""
        self.grip = is_held
        self.happens("held" if is_held else "not held", x, y, evidence)

    def find(self, find: int, kind: str, x: float, y: float) -> int:
        """Return the number of the object of a find: the target's, or of a find made before its own again."""
        number = self._by_find.get(find) or self.target or self._new(kind, x, y).number
        self._by_find[find] = self.held = number
        self._told[number - 1].is_open = False
        return number

    def leave(self, x: float, y: float) -> int:
        """Return the number of the target, which is left where it is (m)."""
        if self.target:
            told = self._told[self.target - 1]
            told.x, told.y, told.is_open = x, y, False
        return self.target

    def let_go(self, x: float, y: float) -> int:
        """Return the number of the object in the jaws, which is out of them, at a place (m)."""
        number, self.held = self.held, 0
        if number:
            told = self._told[number - 1]
            told.x, told.y, told.is_open = x, y, False
        return number

    def stands_in_tray(self, kind: str, x: float, y: float) -> None:
        """Note that an object is seen in the tray that was not set down there."""
        told = self._again(kind, x, y) or self._new(kind, x, y)
        told.is_open = False
        self._note(told, "seen in the tray", "it was not set down there")

    def _again(self, kind: str, x: float, y: float) -> _Told | None:
        """Return the object of a kind that was last known of near a place (m), and is not at present."""
        near = [one for one in self._told if one.kind == kind and not one.is_open and _apart(one, x, y) < SAME_PLACE]
        return min(near, key=lambda one: _apart(one, x, y), default=None)

    def _new(self, kind: str, x: float, y: float) -> _Told:
        self._told.append(told := _Told(len(self._told) + 1, kind, x, y))
        return told

    def _note(self, told: _Told, what: str, why: str) -> None:
        self._events.append(ObjectEvent(told.number, told.kind, what, told.x, told.y, why))


def _apart(one: _Told, x: float, y: float) -> float:
    return math.hypot(one.x - x, one.y - y)
