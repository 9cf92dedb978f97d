"""Turns by the heading sensor's turn rate, and those in which the effective track is learned from it."""

from collections import deque
from typing import NamedTuple

from rover.estimate.covariance import CHI_SQUARE_1_99
from rover.quantities import clamp

TELLS_FOR = 0.25
"""Where no turn rate is known of before, one is enough for what wheels did in no longer a time (s)."""
GAP_NS = round(TELLS_FOR * 1e9)
"""Between counts farther apart in time than this nobody knows when the robot moved."""
KEPT_NS = 1_000_000_000
"""Turn rates are kept for so long: counts do not come later."""
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


class TurnRates:
    """The turn rates of the last second: between two told ones it is on the line from one to the other.

    Attributes:
        growth: of the heading's variance (rad^2 a second) while they are integrated, learned where the robot stands.
        moved_ns: when the wheels last moved, or were told to.
    """

    __slots__ = ("_told", "_used_until_ns", "growth", "moved_ns")

    def __init__(self) -> None:
        self._told: deque[tuple[int, float]] = deque()
        self.growth = RATE_VARIANCE
        self.moved_ns = 0
        self._used_until_ns = 0  # after that the wheels told of the turn

    def tell(self, now_ns: int, seconds: float = 0.0) -> bool:
        """Tell whether they say how the robot turned in so long (s) up to a time: the last one is used for a while."""
        told = self._told
        if not told or not told[0][0] <= now_ns <= told[-1][0] + LASTS_NS:
            return False
        return seconds <= TELLS_FOR or told[0][0] <= now_ns - round(seconds * 1e9)

    def turn(self, now_ns: int, seconds: float) -> float:
        """Return the turn (rad) in so long (s) up to a time, of which they tell."""
        begun_ns = now_ns - round(seconds * 1e9)
        self._used_until_ns = now_ns
        turn, right_ns, right = 0.0, now_ns, self._at(now_ns)
        for taken_ns, rate in reversed(self._told):
            if taken_ns >= right_ns:
                continue
            left_ns = max(begun_ns, taken_ns)
            left = rate + (right - rate) * (left_ns - taken_ns) / (right_ns - taken_ns)
            turn += 0.5 * (left + right) * (right_ns - left_ns) * 1e-9
            right_ns, right = left_ns, left
            if left_ns == begun_ns:
                return turn
        return turn + right * (right_ns - begun_ns) * 1e-9

    def _at(self, now_ns: int) -> float:
        later_ns, later = self._told[-1]
        if now_ns >= later_ns:
            return later
        for taken_ns, rate in reversed(self._told):
            if taken_ns <= now_ns:
                return rate + (later - rate) * (now_ns - taken_ns) / (later_ns - taken_ns)
            later_ns, later = taken_ns, rate
        return later

    def take(self, rate: float, taken_ns: int, turned_until_ns: int) -> float:
        """Take a new one, and return the turn (rad) that the old one missed which was used until a time."""
        told = self._told
        missed = 0.0
        if told:
            last_ns, last = told[-1]
            if not 0 < taken_ns - last_ns < LASTS_NS:
                told.clear()
            else:
                held = clamp(min(turned_until_ns, self._used_until_ns) - last_ns, 0, taken_ns - last_ns)
                missed = 0.5 * (rate - last) * held * held / (taken_ns - last_ns) * 1e-9
                if taken_ns - self.moved_ns > STILL_NS:
                    self._learn(rate, (taken_ns - last_ns) * 1e-9)
        told.append((taken_ns, rate))
        if taken_ns - told[0][0] > KEPT_NS:
            told.popleft()
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
