"""One side's counts, held against what its motor's duty should have made of them."""

import math

from rover.files.robot import Robot
from rover.motion.wheels import LAG

SURE = 1.5
"""A duty of so many dead bands turns a wheel, whatever the floor..."""
LEAST_DUTY = 0.1
SETTLED = 0.25
"""... once it has been on for so long (s), the same way round."""
STILL_WAY, STILL_COUNTS = 0.06, 4.0
"""A wheel that should have gone so far (m), and so many counts, and has not counted one, stands or is not counted."""
AGAINST_WAY = 0.02
SCALE_WAY = 0.3
"""Counts are held against duties over so long a way (m)..."""
SHORT_WAY = 0.04
"""... and with a heading that contradicts them over this."""
WELL_SCALED = (0.7, 1.4)
"""Within these they are not to blame for what a heading contradicts."""
LEAST_SCALE, MOST_SCALE = 0.6, 1.6
"""Counts within these shares of the way that the duties should have made may be true: dead band, load, battery."""


class Side:
    """One side's counts against its motor's duty.

    Attributes:
        still: way (m) that the wheels should have gone since the last count.
        against: way (m) counted the wrong way.
        sense: 1 while it is surely driven forwards, -1 backwards, else 0.
        scale: counted way over that which the duty makes; 1 until that can be told.
        unaccounted: way (m) by which the two differ more than a healthy robot's do, to be taken from here.
        turned: what the heading tells (rad) since this one stands or errs, and ``by_counts``, what both sides' counts.
    """

    still: float
    against: float
    turned: float
    by_counts: float
    scale: float
    unaccounted: float

    def __init__(self, robot: Robot) -> None:
        drive = robot.devices.drive
        self._top_speed, self._dead_band = drive.top_speed, drive.dead_band
        self._sure = max(SURE * drive.dead_band, LEAST_DUTY)
        self._count = robot.body.metres_per_count
        self._short_way = max(SHORT_WAY, STILL_COUNTS * self._count)
        self.sense = 0
        self.begin()

    def begin(self) -> None:
        """Begin anew, at rest."""
        self._speed = self._due = self._judged = self._steady = 0.0
        self._long_due = self._long_counted = self._short_due = self._short_counted = 0.0
        self.scale = 1.0
        self.unaccounted = 0.0
        self.agree()

    def drive(self, duty: float, seconds: float) -> None:
        """Work out how far a duty brings the wheels in a time (s)."""
        size = abs(duty)
        share = (size - self._dead_band) / (1.0 - self._dead_band) if size > self._dead_band else 0.0
        goal = math.copysign(share * self._top_speed, duty)
        self._speed += (goal - self._speed) * min(1.0, seconds / LAG)
        sense = (1 if duty > 0.0 else -1) if size >= self._sure else 0
        self._steady = self._steady + seconds if sense == self.sense else 0.0
        self.sense = sense
        if sense and self._steady >= SETTLED:
            self._due += self._speed * seconds
            self._judged += seconds

    def count(self, way: float, by_counts: float, turned: float, seconds: float) -> None:
        """Hold the way (m) that was counted in ``seconds`` against what was due in them.

        ``by_counts`` is the turn that both sides' counts make of it without slip, ``turned`` what the heading tells.
        """
        due, is_judged = self._due, self._judged >= 0.5 * seconds
        self._due = self._judged = 0.0
        if not is_judged:
            if way:
                self.agree()
            return
        ahead = math.copysign(way, way * due)
        if not way:
            self.still += abs(due)
        elif ahead < 0.0:
            self.still, self.against = 0.0, self.against - ahead
        else:
            self.agree()
        self.turned += turned
        self.by_counts += by_counts
        self._short_due += abs(due)
        self._short_counted += ahead
        self._long_due += abs(due)
        self._long_counted += ahead
        if self._long_due >= SCALE_WAY:
            self.scale = self._long_counted / self._long_due
            if not self.is_scaled_well(self.scale):
                self.unaccounted += 0.5 * abs(self._long_due - self._long_counted)
            self._long_due, self._long_counted = 0.5 * self._long_due, 0.5 * self._long_counted

    @staticmethod
    def is_scaled_well(scale: float) -> bool:
        """Tell whether counts may be true that are so many times what their duty makes."""
        return LEAST_SCALE <= scale <= MOST_SCALE

    def mark(self) -> None:
        """Begin the short comparison anew, in which the heading is to be held against the counts."""
        self._short_due = self._short_counted = 0.0

    @property
    def lately(self) -> float:
        """The scale as it seems to be becoming."""
        return self._long_counted / self._long_due if self._long_due >= self._short_way else self.scale

    @property
    def is_acquitted(self) -> bool:
        """Since the mark, the counts were surely what their duty makes."""
        low, high = WELL_SCALED
        return self._short_due >= self._short_way and low < self._short_counted / self._short_due < high

    @property
    def contradicts(self) -> bool:
        """Since the mark, the counts were not what their duty makes."""
        due = self._short_due
        return due >= self._short_way and not self.is_scaled_well(self._short_counted / due)

    def agree(self) -> None:
        """Settle it: the counts so far are true."""
        self.still = self.against = self.turned = self.by_counts = 0.0

    @property
    def stands(self) -> bool:
        """It should have moved by now."""
        return self.still >= max(STILL_WAY, STILL_COUNTS * self._count)

    @property
    def is_against(self) -> bool:
        """It goes the wrong way."""
        return self.against >= max(AGAINST_WAY, STILL_COUNTS * self._count)

    @property
    def in_question(self) -> float:
        """Way (m) that may have been gone otherwise than it was counted."""
        return self.still + 2.0 * self.against
