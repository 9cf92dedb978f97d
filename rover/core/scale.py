"""How many times the way that its motor's duty makes a side has counted."""

from typing import NamedTuple

SCALE_WAY = 0.2
"""Counts are held against duties over so long a way (m)..."""
SHORT_WAY, SHORT_COUNTS = 0.04, 4.0
"""... and with a heading that contradicts them over this, and so many counts."""
LEAST_SCALE, MOST_SCALE = 0.6, 1.6
"""Counts within these shares of the way that the duties should have made may be true: dead band, load, battery."""
STANDS_SCALE = 0.25
"""With less than this the side stands in truth, and its counts say so."""
KEEPS_UP = 0.7
"""A wheel that counts less than this share of what it was told is blocked, or at its end."""
WELL_SCALED = (0.7, 1.4)
"""Within these they are not to blame for what a heading contradicts."""


class Due(NamedTuple):
    """The way (m) that is due by a duty: as far as at least, and at most, since dead bands are known roughly."""

    least: float = 0.0
    most: float = 0.0

    def plus(self, other: "Due") -> "Due":
        """Return both together."""
        return Due(self.least + other.least, self.most + other.most)

    def half(self) -> "Due":
        """Return half of it."""
        return Due(0.5 * self.least, 0.5 * self.most)

    def amiss(self, counted: float) -> float:
        """Return by how much (m) a counted way is more, or less, than may be due."""
        return max(0.0, counted - self.most, self.least - counted)

    def scale(self, counted: float) -> float:
        """Return how many times what is due a counted way (m) is: 1 where it may be true."""
        if counted > self.most:
            return counted / self.most if self.most > 0.0 else 1.0
        return counted / self.least if counted < self.least and self.least > 0.0 else 1.0


class Scale:
    """The way that one side counted over that which its duty makes: over a long way, and since a mark.

    Attributes:
        settled: over a long way; 1 until that can be told.
        unaccounted: way (m) by which the two differ more than a healthy robot's do, to be taken from here.
    """

    settled: float
    unaccounted: float

    def __init__(self, count: float) -> None:
        self._short_way = max(SHORT_WAY, SHORT_COUNTS * count)
        self.begin()

    def begin(self) -> None:
        """Begin anew."""
        self._long_counted = self._short_counted = self._long_told = self._short_told = 0.0
        self._long_due = self._short_due = Due()
        self.settled = 1.0
        self.unaccounted = 0.0

    def mark(self) -> None:
        """Begin the short comparison anew, in which the heading is to be held against the counts."""
        self._short_counted = self._short_told = 0.0
        self._short_due = Due()

    def count(self, due: Due, counted: float, told: float) -> None:
        """Take in a way (m) that was due by the duty, what was counted in its direction, and what the wheels were told.

        The control of a wheel whose counts are too few gives it more, until they are as many as it was told; a wheel
        that is blocked counts less than that, and tells nothing of its counts.
        """
        if told > 0.0:
            self._short_told += told
            self._long_told += told
        self._short_due = self._short_due.plus(due)
        self._short_counted += counted
        self._long_due = self._long_due.plus(due)
        self._long_counted += counted
        if self._long_due.most >= SCALE_WAY:
            self._settle()

    def _settle(self) -> None:
        due, counted = self._long_due, self._long_counted
        self.settled = due.scale(counted)
        if self.settled < LEAST_SCALE and counted < KEEPS_UP * self._long_told:
            self.settled = 1.0
        if self.settled > MOST_SCALE or STANDS_SCALE < self.settled < LEAST_SCALE:
            self.unaccounted += 0.5 * due.amiss(counted)
        self._long_due, self._long_counted = due.half(), 0.5 * counted
        self._long_told *= 0.5

    @property
    def lately(self) -> float:
        """As it seems to be becoming."""
        due = self._long_due
        return due.scale(self._long_counted) if due.most >= self._short_way else self.settled

    @property
    def is_acquitted(self) -> bool:
        """Since the mark, the counts were what their duty makes, as far as that is known."""
        (low, high), due = WELL_SCALED, self._short_due
        middle = 0.5 * (due.least + due.most)
        return due.most >= self._short_way and low * middle < self._short_counted < high * middle

    @property
    def contradicts(self) -> bool:
        """Since the mark, the counts were surely not what their duty makes."""
        due, counted = self._short_due, self._short_counted
        if counted < min(LEAST_SCALE * due.least, KEEPS_UP * self._short_told):
            return False
        return due.most >= self._short_way and not LEAST_SCALE <= due.scale(counted) <= MOST_SCALE

    @property
    def exceeds(self) -> bool:
        """Since the mark, they were surely more."""
        due = self._short_due
        return due.most >= self._short_way and self._short_counted > MOST_SCALE * due.most
