"""What stood in the robot's way and is on no map: touched, or only heard."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

from rover.errand.entries import Met
from rover.events import Event, Note
from rover.geometry import XY

TOUCHED_NS, HEARD_NS = 600_000_000_000, 60_000_000_000
"""What was touched is avoided for so long, what was only heard for a shorter time: an echo may be a stray one."""
ONE_THING = 0.1
"""What is touched no farther than this (m) from where something was touched before is the same thing."""


@dataclass
class Obstacles:
    """What was met, and is to be avoided for some time: what was met long ago may have gone.

    Attributes:
        events: of the present step, for the run record.
        met: the places, in the order in which they were entered.
    """

    events: list[Event]
    met: list[Met] = field(default_factory=list)
    _guesses: int = 0

    def heard(self, places: Sequence[XY], now_ns: int) -> None:
        """Enter that something was heard about some places (m)."""
        self._enter("heard", places, [Met(x, y, False, now_ns + HEARD_NS) for x, y in places])

    def touched(self, places: Sequence[XY], now_ns: int) -> None:
        """Enter that something was touched about some places (m), all along them, as far as anybody knows."""
        self._enter("touched", places, [Met(x, y, True, now_ns + TOUCHED_NS) for x, y in places])

    def touched_at_one_of(self, places: Sequence[XY], now_ns: int) -> None:
        """Enter that something was touched at one of some places (m), and nobody knows at which.

        What was touched near there before is not where else it had been guessed to be.
        """
        same = [one for place in places for one in self._touched_near(place)]
        settled = {one.guess_at for one in same} - {0}
        self.met = [one for one in self.met if one in same or one.guess_at not in settled]
        self._guesses += 1
        guess_at = self._guesses if len(places) > 1 else 0
        self._enter("touched", places, [Met(x, y, True, now_ns + TOUCHED_NS, guess_at) for x, y in places])

    def was_touched_at(self, place: XY) -> bool:
        """Tell whether something was touched near a place (m), so that another touch there is one of the same thing."""
        return bool(self._touched_near(place))

    def _touched_near(self, place: XY) -> list[Met]:
        return [one for one in self.met if one.is_touched and math.dist(one[:2], place) < ONE_THING]

    def now(self, now_ns: int) -> list[Met]:
        """Return what is still to be avoided."""
        self.met = [one for one in self.met if now_ns < one.until_ns]
        return self.met

    def forget_heard(self) -> bool:
        """Forget what was only heard, since it leaves no way; tell whether there was anything."""
        kept = [one for one in self.met if one.is_touched]
        is_any, self.met = len(kept) < len(self.met), kept
        return is_any

    def _enter(self, how: str, places: Sequence[XY], met: list[Met]) -> None:
        self.met += met
        x, y = places[len(places) // 2]
        self.events.append(Note("met", f"something {how} at x {x:.2f} m, y {y:.2f} m"))
