"""Each object's own story: it has one number for the whole run, and what becomes of it is noted as events.

For the record; and what was counted as left in the tray, and is gripped again, is not counted twice.
"""

import math
from collections import Counter
from dataclasses import dataclass, field

from rover.events import Event, ObjectEvent

SAME_PLACE = 0.25
"""What is seen this near (m) to where an object of its kind was last known of, and is no more, is that again."""

LOOKS_IN_A_ROW = 3
"""So many looks of the grip that say the same are noted: a camera flickers."""
REASONS = 3
"""So many of the reasons for which tries at an object failed are told, the latest first."""


@dataclass(slots=True)
class _Told:
    """An object: its number, kind, and where it was last known to be (m).

    ``is_open`` while it is remembered there; ``troubles``: why tries at it failed since it was last left.
    """

    number: int
    kind: str
    x: float
    y: float
    is_open: bool = True
    troubles: list[str] = field(default_factory=list)


class Stories:
    """Numbers the objects of a run, from 1 in the order in which they were first believed in.

    Args:
        events: of the present step; what happens to an object is noted there.
    """

    def __init__(self, events: list[Event]) -> None:
        self._grip: bool | None = None
        self._events = events
        self._told: list[_Told] = []
        self._by_memory: dict[int, int] = {}
        self._by_find: dict[int, int] = {}
        self._target = self._at_jaws = self._looks = 0
        self._verdict: bool | None = None
        self._latest: tuple[int, str] = (0, "")

    def __len__(self) -> int:
        """Return how many objects there have been: the greatest number."""
        return len(self._told)

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
        """Note that an object is not remembered any more; without a why, or between the jaws, it is not missing."""
        number = self._by_memory.get(memory, 0)
        if number:
            told = self._told[number - 1]
            told.is_open = False
            if why and number != self._at_jaws:
                self._note(told, "forgotten", why)

    def choose(self, memory: int, x: float, y: float) -> None:
        """Note that an object is the target now, at a place (m)."""
        self._target = self._by_memory.get(memory, 0)
        self._happens(self._target, "chosen", x, y)

    def happens(self, what: str, x: float, y: float, why: str) -> None:
        """Note what happens, at a place (m), to the object at hand: what is between the jaws, or else the target."""
        self._happens(self._at_jaws or self._target, what, x, y, why)

    def close_jaws(self, x: float, y: float) -> int:
        """Note that the jaws closed on the target, at a place (m), and return its number, 0 for none.

        What tells of the grip does so from now on.
        """
        self._grip, self._looks, self._at_jaws = None, 0, self._target
        self._happens(self._at_jaws, "gripped", x, y)
        return self._at_jaws

    def open_jaws(self) -> None:
        """Note that the jaws are open: what they were closed on is not between them any more."""
        self._at_jaws = 0

    def tell_grip(self, x: float, y: float, *, is_held: bool, evidence: str) -> None:
        """Take in what is told of the grip, at a place (m); once it is told often enough in a row, note it."""
        self._looks = self._looks + 1 if is_held is self._verdict else 1
        self._verdict = is_held
        if self._looks == LOOKS_IN_A_ROW and is_held is not self._grip:
            self._grip = is_held
            self._happens(self._at_jaws, "held" if is_held else "not held", x, y, evidence)

    def find(self, find: int, kind: str, x: float, y: float) -> int:
        """Return the number of the object of a find: of what is between the jaws, or of an earlier find that it was."""
        number = self._by_find.get(find) or self._at_jaws or self._target or self._new(kind, x, y).number
        self._by_find[find] = self._at_jaws = number
        self._told[number - 1].is_open = False
        self._target, self._latest = 0, (0, "")  # the tries at it are over
        return number

    def leave(self, x: float, y: float) -> int:
        """Return the number of the target, which is left where it is (m)."""
        target, self._target = self._target, 0
        self._latest = (0, "")
        return self._put(target, x, y)

    def let_go(self, x: float, y: float) -> int:
        """Return the number of what was between the jaws, and is left at a place (m); 0 for nothing."""
        number, self._at_jaws = self._at_jaws, 0
        return self._put(number, x, y)

    def trouble(self, why: str) -> None:
        """Count something that failed as a trouble with the object at hand."""
        number = self._at_jaws or self._target
        if number:
            self._told[number - 1].troubles.append(why)
            self._latest = (number, why)

    def why_left(self) -> str:
        """Return why the target is left: what the tries at it failed for, each reason once, the most frequent first."""
        troubles = self._told[self._target - 1].troubles if self._target else []
        counts = Counter(reversed(troubles)).most_common(REASONS)  # of equals the latest first
        times = [why if count == 1 else f"{why} ({count} times)" for why, count in counts]
        if times:
            troubles.clear()
            return "; ".join(times)
        number, why = self._latest
        return f"the tries were used up on object {number}: {why}" if why else "by choice: no try failed"

    def stands_in_tray(self, kind: str, x: float, y: float) -> None:
        """Note that an object is seen in the tray that was not set down there."""
        told = self._again(kind, x, y) or self._new(kind, x, y)
        told.is_open = False
        self._note(told, "seen in the tray", "it was not set down there")

    def _happens(self, number: int, what: str, x: float, y: float, why: str = "") -> None:
        if number:
            told = self._told[number - 1]
            told.x, told.y = x, y
            self._note(told, what, why)

    def _put(self, number: int, x: float, y: float) -> int:
        if number:
            told = self._told[number - 1]
            told.x, told.y, told.is_open = x, y, False
        return number

    def _again(self, kind: str, x: float, y: float) -> _Told | None:
        """Return the object of a kind that was last known of near a place (m), and is not at present."""
        gone = (one for one in self._told if one.kind == kind and not one.is_open and one.number != self._at_jaws)
        near = [one for one in gone if _apart(one, x, y) < SAME_PLACE]
        return min(near, key=lambda one: _apart(one, x, y), default=None)

    def _new(self, kind: str, x: float, y: float) -> _Told:
        self._told.append(told := _Told(len(self._told) + 1, kind, x, y))
        return told

    def _note(self, told: _Told, what: str, why: str) -> None:
        self._events.append(ObjectEvent(told.number, told.kind, what, told.x, told.y, why))


def _apart(one: _Told, x: float, y: float) -> float:
    return math.hypot(one.x - x, one.y - y)
