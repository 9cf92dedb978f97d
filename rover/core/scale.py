"""How many times the way that its motor's duty makes a side has counted."""

from collections.abc import Callable, Iterable, Mapping
from typing import NamedTuple

from rover.core.due import Due

SCALE_WAY = 0.2
"""Counts are held against duties over so long a way (m)..."""
SHORT_WAY, SHORT_COUNTS = 0.04, 4.0
"""... and with a heading that contradicts them over this, and so many counts."""
LEAST_SCALE, MOST_SCALE = 0.6, 1.6
"""Counts within these shares of the way that the duties should have made may be true: dead band, load, battery."""
STANDS_SCALE = 0.25
"""With less than this the side stands in truth, and its counts say so."""
LINE_SCALES, BOTH_SCALES = (0.6, 1.6), (0.6, 1.35)
"""The same of what the duties made before: of one side, whose load changes as the robot bends, and of both at once.
That says little of a floor that holds the robot back from now on."""
IN_QUESTION = (0.85, 1.15)
"""Outside of these they are in question, until it is known better."""
ABOUT = 0.1
"""What differs by less than this share from what is due on average is what was due."""
KEEPS_UP = 0.7
"""A wheel that counts less than this share of what it was told is blocked, or at its end."""
WINDOW_S, WINDOW_COUNTS = 0.2, 4.0
"""Whether it does is told in so long a time (s), and by so many counts."""
WELL_SCALED = (0.7, 1.4)
"""Within these they are not to blame for what a heading contradicts."""


class Counted(NamedTuple):
    """A way (m) that was counted in the direction of the duty, what was due by that, and what the wheels were told."""

    due: Due
    way: float
    told: float

    def plus(self, other: "Counted") -> "Counted":
        """Return both together."""
        return Counted(self.due.plus(other.due), self.way + other.way, self.told + other.told)


NOTHING = Counted(Due(), 0.0, 0.0)


class Window:
    """Takes counts together for a while, and leaves them out where a wheel did not keep up with what it was told.

    It speeds up, or something holds it: then its control gives it more and more, and the duty tells nothing of counts.

    Args:
        count: way in one encoder count (m).
    """

    def __init__(self, count: float) -> None:
        self._least = WINDOW_COUNTS * count
        self.begin()

    def begin(self) -> None:
        """Begin anew."""
        self._counted, self._seconds = NOTHING, 0.0

    def add(self, counted: Counted, seconds: float) -> Counted | None:
        """Add what was counted in a time (s); return all of it once it is a while, and enough for what a count makes,
        if the wheel has kept up."""
        self._counted, self._seconds = self._counted.plus(counted), self._seconds + seconds
        if self._seconds < WINDOW_S or self._counted.way < self._least:
            return None
        whole = self._counted
        self.begin()
        return whole if whole.way >= KEEPS_UP * whole.told else None


class Scale:
    """The way that one side counted over that which its duty makes: over a long way, and since a mark.

    Args:
        count: way in one encoder count (m).
        least: counts that are fewer times what is due are not true.
        most: nor those that are more times.

    Attributes:
        settled: over a long way; 1 until that can be told.
    """

    settled: float

    def __init__(self, count: float, least: float = LEAST_SCALE, most: float = MOST_SCALE) -> None:
        self._least, self._most = least, most
        self._short_way = max(SHORT_WAY, SHORT_COUNTS * count)
        self.begin()

    def begin(self) -> None:
        """Begin anew."""
        self._long_counted = self._short_counted = self._long_told = self._short_told = 0.0
        self._long_due = self._short_due = Due()
        self.settled = 1.0
        self._unaccounted = 0.0

    def mark(self) -> None:
        """Begin the short comparison anew, in which the heading is to be held against the counts."""
        self._short_counted = self._short_told = 0.0
        self._short_due = Due()

    def count(self, counted: Counted) -> None:
        """Take in what was counted.

        The control of a wheel whose counts are too few gives it more, until they are as many as it was told; a wheel
        that is blocked counts less than that, and tells nothing of its counts.
        """
        due, way, told = counted
        self._short_told += told
        self._long_told += told
        self._short_due = self._short_due.plus(due)
        self._short_counted += way
        self._long_due = self._long_due.plus(due)
        self._long_counted += way
        if self._long_due.most >= SCALE_WAY:
            self._settle()

    def _settle(self) -> None:
        due, counted = self._long_due, self._long_counted
        self.settled = due.scale(counted)
        if self.settled < self._least and counted < KEEPS_UP * self._long_told:
            self.settled = 1.0
        if self.is_amiss:
            self._unaccounted += 0.5 * due.amiss(counted)
        self._long_due, self._long_counted = due.half(), 0.5 * counted
        self._long_told *= 0.5

    @property
    def is_well(self) -> bool:
        """Over a long way, it may be true."""
        return self._least <= self.settled <= self._most

    @property
    def is_amiss(self) -> bool:
        """It is surely not, nor does the side stand in truth."""
        return self.is_beyond(self._least, self._most)

    def is_beyond(self, least: float, most: float) -> bool:
        """Tell whether counts were fewer or more times what was due, over a long way, and more than of a side that
        stands."""
        return self.settled > most or STANDS_SCALE < self.settled < least

    @property
    def in_question(self) -> float:
        """Way (m) that was lately counted otherwise than may be, of which nobody is blamed yet."""
        counted, (low, high) = self._long_counted, IN_QUESTION
        if counted < KEEPS_UP * self._long_told or self.lately < STANDS_SCALE or low <= self.lately <= high:
            return 0.0
        return abs(counted - self._long_due.middle)

    @property
    def is_as_due(self) -> bool:
        """Over a long way it is about what is due on average."""
        middle = self._long_due.middle
        return abs(self._long_counted - middle) <= ABOUT * middle

    def take_unaccounted(self) -> float:
        """Return the way (m) by which the two have differed more than a healthy robot's do, since the last look."""
        way, self._unaccounted = self._unaccounted, 0.0
        return way

    @property
    def lately(self) -> float:
        """As it seems to be becoming."""
        due = self._long_due
        return due.scale(self._long_counted) if due.most >= self._short_way else self.settled

    @property
    def is_acquitted(self) -> bool:
        """Since the mark, the counts were what their duty makes, as far as that is known."""
        (low, high), due = WELL_SCALED, self._short_due
        middle = due.middle
        return due.most >= self._short_way and low * middle < self._short_counted < high * middle

    @property
    def contradicts(self) -> bool:
        """Since the mark, the counts were surely not what their duty makes."""
        due, counted = self._short_due, self._short_counted
        if counted < min(self._least * due.least, KEEPS_UP * self._short_told):
            return False
        return due.most >= self._short_way and not self._least <= due.scale(counted) <= self._most

    @property
    def exceeds(self) -> bool:
        """Since the mark, they were surely more."""
        due = self._short_due
        return due.most >= self._short_way and self._short_counted > self._most * due.most


class ByCourse:
    """The scales of several courses, on each of which duties make something else: one does not clear another.

    What they tell is worked out when one of them has counted, a few times a second, and asked for in each step.

    Attributes:
        settled: of the one that is farthest from 1.
        in_question: the most of them (m).
        is_amiss: one of them is.
        is_as_due: all of them are.
        is_beyond_both: one of them is farther off than the counts of both sides at once may be.
    """

    settled: float
    in_question: float

    def __init__(self, scales: Mapping[int, Scale]) -> None:
        self._scales = scales
        self.begin()

    def begin(self) -> None:
        """Begin anew."""
        for scale in self._scales.values():
            scale.begin()
        self._unaccounted = 0.0
        self._sum_up()

    def count(self, course: int, counted: Counted) -> None:
        """Take in what was counted on one of them."""
        scale = self._scales[course]
        scale.count(counted)
        self._unaccounted += scale.take_unaccounted()
        self._sum_up()

    def _sum_up(self) -> None:
        scales = self._scales.values()
        self.settled = max((scale.settled for scale in scales), key=lambda one: abs(one - 1.0))
        self.in_question = max(scale.in_question for scale in scales)
        self.is_amiss = any(scale.is_amiss for scale in scales)
        self.is_as_due = all(scale.is_as_due for scale in scales)
        self.is_beyond_both = any(scale.is_beyond(*BOTH_SCALES) for scale in scales)

    def is_in_question_but_on(self, course: int) -> bool:
        """Tell whether one of another course is in question."""
        return self.in_question > 0.0 and any(scale.in_question for one, scale in self._scales.items() if one != course)

    def lately(self, pick: Callable[[Iterable[float]], float]) -> float:
        """Return as it seems to be becoming on the course of which ``pick`` picks it."""
        return pick(scale.lately for scale in self._scales.values())

    def take_unaccounted(self) -> float:
        """Return that of all (m)."""
        way, self._unaccounted = self._unaccounted, 0.0
        return way
