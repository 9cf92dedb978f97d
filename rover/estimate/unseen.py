"""What the robot may have done that no counts have told: since the last ones, or otherwise than they tell."""

import math
from collections import deque
from typing import NamedTuple

CARRY_ON_DOUBT = 0.5
"""Share of the way since the last counts that is not known."""


class Told(NamedTuple):
    """What the wheels were told until a time: way (m) and turn (rad), forwards and to the left."""

    until_ns: int
    way: float
    turn: float


class Unseen:
    """Ways (m) and turns (rad) that nobody has measured.

    Args:
        count: travel in one encoder count (m): on average the wheels are half of it beyond what was counted last.

    Attributes:
        suspected_way: how far the robot may have gone otherwise than it was told (m).
    """

    __slots__ = ("_coarse", "_suspected_turn", "_told", "suspected_way")

    def __init__(self, count: float) -> None:
        self._coarse = 0.5 * count
        self._told: deque[Told] = deque()
        self.suspected_way = self._suspected_turn = 0.0

    @property
    def is_commanded(self) -> bool:
        """Whether the wheels have been told to move since the last counts."""
        return bool(self._told)

    def command(self, speed: float, turn_rate: float, seconds: float, now_ns: int) -> None:
        """Note what the wheels are told (m/s, rad/s) from now on: until counts come, nobody knows what came of it."""
        if speed or turn_rate:
            self._told.append(Told(now_ns + round(seconds * 1e9), speed * seconds, turn_rate * seconds))

    def suspect(self, way: float, turn: float) -> None:
        """Note how far (m, rad) the robot may have gone otherwise than it was told, which is not decided yet."""
        self.suspected_way, self._suspected_turn = way, turn

    def count(self, taken_ns: int) -> None:
        """Note that there are counts of a time; what the wheels were told later, these do not tell of."""
        while self._told and self._told[0].until_ns <= taken_ns:
            self._told.popleft()

    def told(self, until_ns: int) -> tuple[float, float]:
        """Return the way (m) and the turn (rad) that the wheels were told between the last counts and a time."""
        told = [one for one in self._told if one.until_ns <= until_ns]
        return sum(one.way for one in told), sum(one.turn for one in told)

    def sigmas(self, way: float, turn: float) -> tuple[float, float]:
        """Return the standard deviations (m, rad) of what is unseen, where the last speeds would have led so far."""
        told_way, told_turn = sum(abs(one.way) for one in self._told), sum(abs(one.turn) for one in self._told)
        return (
            math.hypot(self._coarse, self.suspected_way + CARRY_ON_DOUBT * max(abs(way), told_way)),
            self._suspected_turn + CARRY_ON_DOUBT * max(abs(turn), told_turn),
        )
