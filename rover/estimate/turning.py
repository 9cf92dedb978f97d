"""Turns by the heading sensor's turn rate, and those in which the effective track is learned from it."""

from typing import NamedTuple

from rover.estimate.covariance import CHI_SQUARE_1_99
from rover.quantities import clamp

TELLS_FOR = 0.25
"""One turn rate is enough for what wheels did in no longer a time (s): after a gap in the counts it is not."""
LASTS_NS = 160_000_000
"""A turn rate is used for so long after it was taken."""
RATE_VARIANCE = 5e-6
"""Growth of the heading's variance (rad^2 a second) while turn rates are integrated, before their noise is known."""
STILL_NS = 1_000_000_000
"""Where the wheels have neither moved nor been told to for so long, all that a turn rate tells is its noise."""
NOISE_LEARNED_IN = 100.0
"""Turn rates over which their noise is learned..."""
NOISE_LEAST, NOISE_MOST = 0.05, 50.0
"""... and what it stays within, as multiples of what is first taken for it."""
ENOUGH = 0.6
"""The effective track is learned in turns of this angle (rad)..."""
AT_LEAST = 0.25
"""... from those that are at least so fast on average (rad/s)..."""
SCRUBS = 0.12
"""... each of which may differ by this share from the next: the base scrubs."""


class HeldRate:
    """The turn rate as it was told last.

    Attributes:
        value: rad/s.
        growth: of the heading's variance (rad^2 a second) while it is integrated, learned where the robot stands.
        moved_ns: when the wheels last moved, or were told to.
    """

    __slots__ = ("_until_ns", "growth", "moved_ns", "value")

    def __init__(self) -> None:
        self.value, self.growth = 0.0, RATE_VARIANCE
        self.moved_ns = 0
        self._until_ns = -1

    def holds(self, now_ns: int, seconds: float = 0.0) -> bool:
        """Tell whether it is new enough to turn by, and enough for what took so long (s)."""
        return now_ns <= self._until_ns and seconds <= TELLS_FOR

    def take(self, rate: float, taken_ns: int) -> float:
        """Take a new one, and return the turn (rad) that the old one missed while it was held, by the trapezium."""
        held_ns = taken_ns + LASTS_NS - self._until_ns
        missed = 0.0
        if 0 < held_ns < LASTS_NS:
            missed = 0.5 * (rate - self.value) * held_ns * 1e-9
            if taken_ns - self.moved_ns > STILL_NS:
                self._learn(rate, held_ns * 1e-9)
        self.value, self._until_ns = rate, taken_ns + LASTS_NS
        return missed

    def _learn(self, rate: float, seconds: float) -> None:
        """Learn from a rate that is nothing but noise: white, it makes a random walk of the heading."""
        seen = min(rate * rate * seconds, CHI_SQUARE_1_99 * self.growth)
        growth = self.growth + (seen - self.growth) / NOISE_LEARNED_IN
        self.growth = clamp(growth, NOISE_LEAST * RATE_VARIANCE, NOISE_MOST * RATE_VARIANCE)


class MeasuredTurn(NamedTuple):
    """A turn by the turn rate (rad), what the right side went more than the left in it (m), and its time (s)."""

    turn: float
    difference: float
    seconds: float


class TurnWindow:
    """Gathers reports until they are a turn from which something can be learned."""

    __slots__ = ("_difference", "_seconds", "_turn")

    def __init__(self) -> None:
        self._difference = self._turn = self._seconds = 0.0

    def add(self, turn: float, difference: float, seconds: float) -> MeasuredTurn | None:
        """Add a report; return the whole turn once it is one, and begin the next."""
        self._turn += turn
        self._difference += difference
        self._seconds += seconds
        is_enough = abs(self._turn) >= ENOUGH
        if not is_enough and self._seconds < ENOUGH / AT_LEAST:
            return None
        measured = MeasuredTurn(self._turn, self._difference, self._seconds)
        self._difference = self._turn = self._seconds = 0.0
        return measured if is_enough else None
