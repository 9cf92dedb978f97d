"""The counts of both sides together, held against what both duties made of them before.

The ground couples the sides of a skid-steer base: whatever one of them pushes less, the other pushes more, and on a
straight both go as fast as each other however they share it. So the mean of their duties tells of the mean of their
ways, and a duty alone may tell little of its own side's.
"""

from typing import NamedTuple

from rover.core.course import ARC, STEADY, STRAIGHT
from rover.core.drive_curve import DriveCurve
from rover.core.due import Driven
from rover.core.scale import BOTH_SCALES, ByCourse, Counted, Scale, Window
from rover.files.robot import Robot


class Went(NamedTuple):
    """How far (m) a side went by its counts in the direction of its duty, in which time (s), and how it was driven.

    Attributes:
        is_judged: for half of the time the duty surely turned the wheels.
    """

    way: float = 0.0
    seconds: float = 0.0
    driven: Driven = Driven()
    is_judged: bool = False

    def mean(self, other: "Went") -> "Went":
        """Return the mean of two sides."""
        both = self.driven.plus(other.driven)
        driven = Driven(0.5 * both.duty, 0.5 * both.seconds, 0.5 * both.told)
        way, seconds = 0.5 * (self.way + other.way), max(self.seconds, other.seconds)
        return Went(way, seconds, driven, self.is_judged and other.is_judged)


class Together:
    """Both sides.

    Attributes:
        steady: scales on straights and in turns on the spot, each by its own line.
        arcs: in arcs, by that of straights.
    """

    def __init__(self, robot: Robot) -> None:
        drive, count = robot.devices.drive, robot.body.metres_per_count
        self._curves = {course: DriveCurve(drive.top_speed, drive.dead_band, count) for course in STEADY}
        self._windows = {course: Window(count) for course in (*STEADY, ARC)}
        self.steady = ByCourse({course: Scale(count, *BOTH_SCALES) for course in STEADY})
        self.arcs = ByCourse({ARC: Scale(count, *BOTH_SCALES)})

    def begin(self) -> None:
        """Begin anew."""
        self.steady.begin()
        self.arcs.begin()
        for window in self._windows.values():
            window.begin()

    def end_arc(self) -> None:
        """Begin anew in arcs."""
        self.arcs.begin()
        self._windows[ARC].begin()

    def count(self, course: int, went: Went) -> None:
        """Take in how far both went on a course, on average."""
        way, seconds, driven, is_judged = went
        curve = self._curves.get(course)
        counted = Counted((curve or self._curves[STRAIGHT]).due(driven), way, driven.told)
        if counted.due.most > 0.0 and (whole := self._windows[course].add(counted, seconds)) is not None:
            (self.arcs if curve is None else self.steady).count(course, whole)
        if curve is not None and is_judged and not self.steady.is_in_question_but_on(course):
            curve.learn(driven, way)

    @property
    def in_question(self) -> float:
        """Way (m) that may have been gone otherwise than both counted it."""
        return max(self.steady.in_question, self.arcs.in_question)

    @property
    def is_amiss(self) -> bool:
        """They surely count otherwise than before."""
        return self.steady.is_amiss or self.arcs.is_amiss

    @property
    def are_as_due(self) -> bool:
        """They count about what is due."""
        return self.steady.is_as_due and self.arcs.is_as_due

    @property
    def settled(self) -> float:
        """How many times what was due they count, where that is farthest from 1."""
        return max(self.steady.settled, self.arcs.settled, key=lambda times: abs(times - 1.0))

    def lately(self, times: float) -> float:
        """Return how many times what was due they have counted lately, where that is most, or least if ``times`` is
        less than 1."""
        pick = max if times > 1.0 else min
        return pick(self.steady.lately(pick), self.arcs.lately(pick))

    def take_unaccounted(self) -> float:
        """Return the way (m) by which they differ more than a healthy robot's do, since the last look."""
        return max(self.steady.take_unaccounted(), self.arcs.take_unaccounted())
