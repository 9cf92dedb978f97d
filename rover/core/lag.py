"""A heading that lags: it tells the turns of the counts, and tells them later.

In bins of a quarter of a second the turn that is told is held against that of the counts then, and some bins before:
what a least-squares gain between one half and one (a skid-steer base turns less than its wheels would) leaves of it.
A base that is held while its wheels slip, and comes free, looks the same until the counts end: so a lag is told only by
turns that come when none is counted.
"""

import math
from collections import deque

BIN_S = 0.25
BINS = 6
"""A lag is looked for up to so many bins before."""
KEPT = 0.9
"""Share of what was held against each other that is kept with each bin."""
UNLIKE = math.radians(10.0)
"""The turns differ from those of the counts then by more than this, and four times the noise of a bin (rad, root of
the sum of squares) ..."""
UNCOUNTED = math.radians(5.0)
"""... and so much of them was not counted then ..."""
EXPLAINED = 0.15
"""... but of those of some bins before by less than this share of it."""
ALIKE = math.radians(4.0)
"""Where they differ by less than this (rad), they agree."""
LEAST_GAIN, MOST_GAIN = 0.5, 1.0


class Lag:
    """Looks for a lag.

    Attributes:
        astray: way (m) aside of where the robot is believed to be, if the heading lags, since both agreed.
    """

    def __init__(self) -> None:
        self.begin()

    def begin(self) -> None:
        """Begin anew."""
        self._seconds = self._counted = self._told = self._way = self._apart = 0.0
        self.astray = 0.0
        self._before: deque[float] = deque([0.0] * (BINS + 1), BINS + 1)
        self._squares = self._alone = 0.0
        self._products = [0.0] * (BINS + 1)
        self._counts = [0.0] * (BINS + 1)

    def tell(self, counted: float, told: float, way: float, seconds: float, noise: float) -> float:
        """Take in a turn (rad) by counts and by the heading, and a way (m); return the lag (s), 0 for none.

        ``noise`` is the standard deviation of a turn that is told (rad).
        """
        self._counted, self._told = self._counted + counted, self._told + told
        self._way, self._seconds = self._way + way, self._seconds + seconds
        if self._seconds < BIN_S:
            return 0.0
        self._close()
        self._seconds = self._counted = self._told = self._way = 0.0
        now = self._left(0)
        if now < ALIKE * ALIKE:
            self.astray = self._apart = 0.0
        scatter = 4.0 * noise
        if now < UNLIKE * UNLIKE + scatter * scatter or self._alone < UNCOUNTED * UNCOUNTED + scatter * scatter:
            return 0.0
        least, bins = min((self._left(one), one) for one in range(1, BINS + 1))
        return bins * BIN_S if least < EXPLAINED * now else 0.0

    def _close(self) -> None:
        self._before.appendleft(self._counted)
        told, counted = self._told, self._counted
        self._squares = KEPT * self._squares + told * told
        for one, before in enumerate(self._before):
            self._products[one] = KEPT * self._products[one] + told * before
            self._counts[one] = KEPT * self._counts[one] + before * before
        explained = abs(counted) if told * counted > 0.0 else 0.0
        alone = max(0.0, abs(told) - explained)
        self._alone = KEPT * self._alone + alone * alone
        self._apart += 0.5 * (LEAST_GAIN + MOST_GAIN) * counted - told
        self.astray += self._way * abs(math.sin(self._apart))

    def _left(self, bins: int) -> float:
        """Return what the counts of so many bins before leave of the told turns (rad^2)."""
        counts, products = self._counts[bins], self._products[bins]
        gain = min(MOST_GAIN, max(LEAST_GAIN, products / counts)) if counts > 0.0 else 0.0
        return max(0.0, self._squares - 2.0 * gain * products + gain * gain * counts)
