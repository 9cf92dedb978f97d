"""The counts of one side, held against what its motor's duties should have made of them."""

import math
from typing import NamedTuple

from rover.core.course import STEADY
from rover.core.drive_curve import DriveCurve
from rover.core.due import DueWay, Expected
from rover.core.scale import LINE_SCALES, NOTHING, ByCourse, Counted, Scale, Window
from rover.core.together import Went
from rover.files.robot import Robot

STILL_WAY, STILL_COUNTS = 0.06, 4.0
"""A wheel that should have gone so far (m), and so many counts, and has not counted one, stands or is not counted."""
RUN_OUT, ROLL_WAY = 1.0, 0.04
"""A motor that has been given nothing for so long (s) has run out; a wheel that goes so far (m) is driven."""
AGAINST_WAY = 0.02
THROUGHOUT = 0.8
"""Only where a duty was on for such a share of a report's time is it held against what the duties made before."""


class Moved(NamedTuple):
    """What both sides tell of how the robot moved.

    Attributes:
        by_counts: the turn (rad) that their counts make of it without slip.
        turned: the turn that the heading tells, None where it has told nothing.
        course: of `rover.core.course`.
    """

    by_counts: float
    turned: float | None
    course: int


class Side:
    """One side.

    Attributes:
        held: way (m) that its wheels should have gone since their last count, when the heading was told last.
        turned: what the heading tells (rad) since this side stands or errs; ``by_counts``, what both sides' counts do.
        scale: of its counts, by what the robot file makes of its duties; ``by_line``, by what they made before.
    """

    _still: float
    held: float
    _against: float
    turned: float
    by_counts: float

    def __init__(self, robot: Robot) -> None:
        drive, self._count = robot.devices.drive, robot.body.metres_per_count
        self._due = DueWay(drive.top_speed, drive.dead_band)
        self._curves = {course: DriveCurve(drive.top_speed, drive.dead_band, self._count) for course in STEADY}
        self._windows = {course: Window(self._count) for course in STEADY}
        self.scale = Scale(self._count)
        self.by_line = ByCourse({course: Scale(self._count, *LINE_SCALES) for course in STEADY})
        self.begin()

    def begin(self) -> None:
        """Begin anew, at rest."""
        self._due.begin()
        self.scale.begin()
        self.by_line.begin()
        for window in self._windows.values():
            window.begin()
        self._waiting = self._waited = 0.0
        self._idle = self._rolled = 0.0
        self._since_count: Counted | None = None
        self._fast = 0
        self.agree()

    def agree(self) -> None:
        """Settle it: the counts so far are true."""
        self._still = self.held = self._held = self._against = self.turned = self.by_counts = 0.0

    def drive(self, duty: float, told: float, seconds: float) -> None:
        """Take in a duty for a time (s), in which the wheels are told to go by ``told`` (m/s)."""
        self._due.drive(duty, told, seconds)
        self._idle = self._idle + seconds if duty == 0.0 else 0.0
        if duty:
            self._rolled = 0.0

    def count(self, way: float, moved: Moved, seconds: float) -> Went | None:
        """Hold the way (m) that was counted in ``seconds`` against what was due in them.

        Returns:
            How far it went, where its duty was on for long enough to tell.
        """
        if self._idle > RUN_OUT:
            self._rolled += abs(way)
        expected = self._due.take(seconds)
        if expected.is_judged:
            self._hold_against_duty(way, expected, moved)
        else:
            self._since_count = None
            if way:
                self.agree()
        return self._hold_against_line(way, expected, moved.course, seconds)

    def _hold_against_duty(self, way: float, expected: Expected, moved: Moved) -> None:
        due = expected.way
        ahead = math.copysign(way, way * due)
        if not way:
            self._still += abs(due)
            self._held += due
        elif ahead < 0.0:
            self._still, self._against = 0.0, self._against - ahead
            self.held = self._held = 0.0
        else:
            self.agree()
        if moved.turned is not None:
            self.turned += moved.turned
            self.held = self._held
        self.by_counts += moved.by_counts
        self._hold_since_count(Counted(expected.due, ahead, abs(expected.driven.told)), expected.is_fast)

    def _hold_since_count(self, counted: Counted, is_fast: bool) -> None:
        """Hold each count against what was due since the one before it, if most of that was fast.

        Of reports one by one that would be no fair choice: the control of coarse counts gives more the longer the next
        one is awaited.
        """
        if self._since_count is not None:
            self._since_count = self._since_count.plus(counted)
            self._fast += 1 if is_fast else -1
        if counted.way:
            if self._since_count is not None and self._fast >= 0:
                self.scale.count(self._since_count)
            self._since_count, self._fast = NOTHING, 0

    def _hold_against_line(self, way: float, expected: Expected, course: int, seconds: float) -> Went | None:
        way, seconds = self._waiting + way, self._waited + seconds  # counts may come more often than commands
        driven, ahead = expected.driven.ahead, math.copysign(way, way * expected.driven.duty)
        waits = driven.seconds <= 0.0 and self._due.is_steady
        self._waiting, self._waited = (way, seconds) if waits else (0.0, 0.0)
        curve = self._curves.get(course)
        if driven.seconds <= 0.0 and not waits and curve is None:
            return Went()  # in a pivot one side is not driven
        if driven.seconds < THROUGHOUT * seconds or ahead < 0.0:
            return None
        if curve is not None:
            counted = Counted(curve.due(driven), ahead, driven.told)
            tells = counted.due.most > 0.0  # not at a creep
            if tells and (whole := self._windows[course].add(counted, seconds)) is not None:
                self.by_line.count(course, whole)
            if expected.is_judged and not self.by_line.is_in_question_but_on(course):
                curve.learn(driven, ahead)
        return Went(ahead, seconds, driven, expected.is_judged)

    @property
    def sense(self) -> int:
        """1 while it is surely driven forwards, -1 backwards, else 0."""
        return self._due.sense

    @property
    def is_well(self) -> bool:
        """Nothing speaks against it."""
        if self._still or self._against or self._rolled:
            return False
        return self.scale.is_well and not self.by_line.is_amiss

    @property
    def stands(self) -> bool:
        """It should have moved by now."""
        return self._still >= max(STILL_WAY, STILL_COUNTS * self._count)

    @property
    def rolls(self) -> bool:
        """It goes on though it is given nothing."""
        return self._rolled >= max(ROLL_WAY, STILL_COUNTS * self._count)

    @property
    def is_against(self) -> bool:
        """It goes the wrong way."""
        return self._against >= max(AGAINST_WAY, STILL_COUNTS * self._count)

    @property
    def undecided(self) -> float:
        """Way (m) that it stands, or runs the other way, or lies about; not what its line leaves in question."""
        return self._still + 2.0 * self._against
