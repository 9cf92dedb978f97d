"""How far the robot comes nearer to what its range finder hears, held against the way that it counts."""

import math
import statistics
from collections.abc import Callable, Sequence
from typing import NamedTuple

STRETCH, STRAIGHT = 0.25, math.radians(5.0)
"""Echoes are held against counts over so long a way (m), by either, turned by no more than this (rad)."""
EVERY, LEAST_ECHOES, MOST_ECHOES = 0.01, 8, 60
"""One is taken every so often (m); with fewer than so many a stretch is longer, and with more it comes to nothing."""
APART = 0.25
"""Two echoes tell of the way between them where that is at least this share of the stretch."""
OFF, SHARE = 0.05, 0.8
"""Where less than such a share of the echoes lies within this (m) of a line, they came from more things than one."""
COUNTED = (0.7, 1.4)
"""A stretch counts true where this many times the way by the echoes was counted: what is heard aside, or aslant, comes
nearer by less than the way."""
SLANT = 1.2
"""Of a wall that stands aslant a turn alone makes echoes longer or shorter: where that may explain what is off, a
stretch tells nothing. It stands 50 deg aslant, as a tangent, at most: one farther aslant throws its echo elsewhere."""
ANY = (0.3, 3.0)
"""Beyond these the echoes tell of something else: they stay, or what is heard moves."""
STRETCHES = 2
"""So many stretches one after the other tell the same: something that is moving for a moment tells nothing."""


class Echo(NamedTuple):
    """An echo, and what the robot's counts and heading had told until then.

    Attributes:
        way: along where the range finder looks (m).
        turned: rad.
        distance: m.
        slant: how far aslant that may stand which it came from, as a tangent.
    """

    way: float
    turned: float
    distance: float
    slant: float


class Closed(NamedTuple):
    """What some stretches tell.

    Attributes:
        times: so many times the way by the echoes was counted.
        astray: by so much (m) counts and echoes differ on the last of them; on all of them the first time.
    """

    times: float
    astray: float


class Closing:
    """One range finder's echoes, while the robot goes straight towards what they come from, or away."""

    def __init__(self) -> None:
        self._off: list[Closed] = []
        self._way = self._turned = 0.0
        self._heard: list[Echo] = []

    def begin(self) -> None:
        """Begin anew."""
        self._off.clear()
        self._heard.clear()

    def move(self, along: float, turned: float) -> None:
        """Account for the robot's motion by its counts (m along where the range finder looks) and its turn (rad)."""
        self._way += along
        self._turned += turned
        if abs(self._turned) > STRAIGHT:
            self._turned = 0.0
            self._heard.clear()

    def hear(self, distance: float | None, *, is_square: bool = False) -> Closed | None:
        """Take in an echo (m); return what the last stretches tell, if each says that the counts are off, and alike.

        ``is_square``: a wall of the map should be heard, and faces it: in small turns that stays as far off.
        """
        heard = self._heard
        if distance is None or (heard and abs(self._way - heard[-1].way) < EVERY):
            return None
        if len(heard) == MOST_ECHOES:
            heard.clear()
        if not heard:
            self._turned = 0.0
        heard.append(Echo(self._way, self._turned, distance, 0.0 if is_square else SLANT))
        stretch = abs(self._way - heard[0].way)
        if len(heard) < LEAST_ECHOES or (stretch < STRETCH and _came_nearer(heard) < STRETCH):
            return None
        times = _times_counted(heard, stretch)
        heard.clear()
        return None if times is None else self._add(times, stretch)

    def _add(self, times: float, stretch: float) -> Closed | None:
        """Add a stretch on which so many times the way by the echoes was counted."""
        low, high = COUNTED
        if low <= times <= high:
            self._off.clear()
            return None
        if self._off and (self._off[-1].times > 1.0) != (times > 1.0):
            self._off.clear()
        self._off.append(Closed(times, abs(stretch - stretch / times)))
        if len(self._off) < STRETCHES:
            return None
        astray = sum(one.astray for one in self._off) if len(self._off) == STRETCHES else self._off[-1].astray
        return Closed(statistics.median(one.times for one in self._off), astray)


def _came_nearer(heard: Sequence[Echo]) -> float:
    """Return how far (m) from the first to the last of some echoes, each with those beside it."""
    first, last = (statistics.median(echo.distance for echo in few) for few in (heard[:3], heard[-3:]))
    return abs(first - last)


def _times_counted(heard: Sequence[Echo], stretch: float) -> float | None:
    """Return how many times the way by some echoes was counted, None where they came from more things than one, or a
    turn may have made what they tell."""
    apart = [
        (one, later)
        for index, one in enumerate(heard)
        for later in heard[index + 1 :]
        if abs(later.way - one.way) > APART * stretch
    ]
    slope = _slope(apart, lambda echo: echo.distance)
    start = statistics.median(echo.distance - slope * echo.way for echo in heard)
    on_line = sum(abs(echo.distance - start - slope * echo.way) <= OFF for echo in heard)
    if on_line < SHARE * len(heard) or slope >= 0.0:
        return None
    times, (low, high) = -1.0 / slope, COUNTED
    aslant = statistics.median(echo.slant * echo.distance for echo in heard)
    swept = abs(_slope(apart, lambda echo: echo.turned)) * aslant
    by_turn = (times > high and swept - slope >= 1.0 / high) or (times < low and -swept - slope <= 1.0 / low)
    return times if ANY[0] <= times <= ANY[1] and not by_turn else None


def _slope(pairs: Sequence[tuple[Echo, Echo]], value: Callable[[Echo], float]) -> float:
    """Return by how much a value of the echoes changes with the way (1/m), from pairs of them.

    The median of the slopes of all pairs (H. Theil, "A rank-invariant method of linear and polynomial regression
    analysis", 1950; P. K. Sen, "Estimates of the Regression Coefficient Based on Kendall's Tau", 1968; both from
    memory): a stray echo does not move it.
    """
    return statistics.median((value(later) - value(one)) / (later.way - one.way) for one, later in pairs)
