"""What the robot may have done that no counts have told: since the last ones, or otherwise than they tell."""

import math

CARRY_ON_DOUBT = 0.5
"""Share of the way since the last counts that is not known."""


class Unseen:
    """Ways (m) and turns (rad) that nobody has measured.

    Args:
        count: travel in one encoder count (m): on average the wheels are half of it beyond what was counted last.

    Attributes:
        suspected_way: how far the robot may have gone otherwise than it was told (m).
    """

    __slots__ = ("_coarse", "_commanded_turn", "_commanded_way", "_suspected_turn", "suspected_way")

    def __init__(self, count: float) -> None:
        self._coarse = 0.5 * count
        self._commanded_way = self._commanded_turn = 0.0
        self.suspected_way = self._suspected_turn = 0.0

    @property
    def is_commanded(self) -> bool:
        """Whether the wheels have been told to move since the last counts."""
        return bool(self._commanded_way or self._commanded_turn)

    def command(self, speed: float, turn_rate: float, seconds: float) -> None:
        """Note what the wheels are told (m/s, rad/s) for a time."""
        self._commanded_way += abs(speed) * seconds
        self._commanded_turn += abs(turn_rate) * seconds

    def suspect(self, way: float, turn: float) -> None:
        """Note how far the robot may have gone otherwise than it was told, which is not decided yet."""
        self.suspected_way, self._suspected_turn = way, turn

    def count(self) -> None:
        """Note that counts have come."""
        self._commanded_way = self._commanded_turn = 0.0

    def sigmas(self, way: float, turn: float) -> tuple[float, float]:
        """Return the standard deviations (m, rad) of what is unseen, where the last speeds would have led so far."""
        return (
            math.hypot(self._coarse, self.suspected_way + CARRY_ON_DOUBT * max(abs(way), self._commanded_way)),
            self._suspected_turn + CARRY_ON_DOUBT * max(abs(turn), self._commanded_turn),
        )
