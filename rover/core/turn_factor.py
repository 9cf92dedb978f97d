"""How many times wider than its wheels the base turns: it slips in every turn, and more or less so by the floor."""

import math

FACTOR_TURN, FACTORS = math.radians(180.0), 3
"""It is told by so much turning by the counts (rad), and after so many of those it is known."""
FACTOR_CHANGE, FACTOR_GAIN = 1.3, 0.1
"""It changes by less than this with the floor; within it, what is known follows by this share."""


class TurnFactor:
    """The factor of late, against what it was before.

    Attributes:
        change: so many times what it was.
    """

    def __init__(self) -> None:
        self._by_counts = self._told = 0.0
        self._seen: list[float] = []
        self.change = 1.0

    def turn(self, by_counts: float, told: float) -> None:
        """Take in a turn (rad) that counts and heading tell of."""
        self._by_counts += abs(by_counts)
        self._told += math.copysign(told, told * by_counts)
        if self._by_counts < FACTOR_TURN:
            return
        now = self._by_counts / max(self._told, 0.1 * self._by_counts)
        self._by_counts = self._told = 0.0
        if len(self._seen) < FACTORS:
            self._seen.append(now)
            return
        known = sum(self._seen) / len(self._seen)
        self.change = now / known
        if 1.0 / FACTOR_CHANGE < self.change < FACTOR_CHANGE:
            self._seen = [one + FACTOR_GAIN * (now - one) for one in self._seen]
