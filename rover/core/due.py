"""The way that a side should have gone by its motor's duties, until its next counts."""

import math
from typing import NamedTuple

from rover.motion.wheels import LAG

SURE = 1.5
"""A duty of so many dead bands turns a wheel, whatever the floor..."""
FASTER = 2.0
"""Only from so many on does it tell how fast: dead bands differ."""
DEAD_BANDS = (0.0, 1.75)
"""The true dead band may be so many times what the robot file says: some boards make up for it, and at a creep it is
most of what a duty tells."""
LEAST_DUTY = 0.1
SETTLED = 0.25
"""... once it has been on for so long (s), the same way round."""


class Due(NamedTuple):
    """The way (m) that is due by a duty: as far as at least, and at most, since motors are known roughly."""

    least: float = 0.0
    most: float = 0.0

    def plus(self, other: "Due") -> "Due":
        """Return both together."""
        return Due(self.least + other.least, self.most + other.most)

    def half(self) -> "Due":
        """Return half of it."""
        return Due(0.5 * self.least, 0.5 * self.most)

    @property
    def middle(self) -> float:
        """As far as is likely (m)."""
        return 0.5 * (self.least + self.most)

    def amiss(self, counted: float) -> float:
        """Return by how much (m) a counted way is more, or less, than may be due."""
        return max(0.0, counted - self.most, self.least - counted)

    def scale(self, counted: float) -> float:
        """Return how many times what is due a counted way (m) is: 1 where it may be true."""
        if counted > self.most:
            return counted / self.most if self.most > 0.0 else 1.0
        return counted / self.least if counted < self.least and self.least > 0.0 else 1.0


class Driven(NamedTuple):
    """How a side was driven for a time, forwards or backwards.

    Attributes:
        duty: its share, times the time (s) that it was on.
        seconds: in which it was on. Both come as late as the motor follows.
        told: way (m) that its wheels were told.

    Each has the sign of the duty, until `ahead` is taken.
    """

    duty: float = 0.0
    seconds: float = 0.0
    told: float = 0.0

    @property
    def ahead(self) -> "Driven":
        """The same without a sign."""
        return Driven(abs(self.duty), abs(self.seconds), abs(self.told))

    def plus(self, other: "Driven") -> "Driven":
        """Return both together."""
        return Driven(self.duty + other.duty, self.seconds + other.seconds, self.told + other.told)


class Expected(NamedTuple):
    """What is to be expected of the counts that come.

    Attributes:
        way: (m) by the robot file, with its sign.
        due: the same without it, whatever the dead band.
        driven: how, whatever the duty, but for as long the same way round.
        is_judged: for half of the time the duty surely turned the wheels...
        is_fast: ... and so fast that the robot file tells how fast.
    """

    way: float
    due: Due
    driven: Driven
    is_judged: bool
    is_fast: bool


class DueWay:
    """Works out how far its duties bring a side.

    Args:
        top_speed: at full duty (m/s), as the robot file has it.
        dead_band: the same.

    Attributes:
        sense: 1 while it is surely driven forwards, -1 backwards, else 0.
    """

    def __init__(self, top_speed: float, dead_band: float) -> None:
        self._top_speed = top_speed
        self._band, self._narrow, self._wide = (min(times * dead_band, 0.9) for times in (1.0, *DEAD_BANDS))
        self._sure = max(SURE * dead_band, LEAST_DUTY)
        self._faster = FASTER * dead_band
        self.begin()

    def begin(self) -> None:
        """Begin anew, at rest."""
        self.sense = 0
        self._steady = self._same = self._duty = self._on = 0.0
        self._speed = self._most_speed = self._least_speed = 0.0
        self._forget()

    def _forget(self) -> None:
        self._way = self._most = self._least = self._judged = self._fast = 0.0
        self._driven = Driven()

    def drive(self, duty: float, told: float, seconds: float) -> None:
        """Take in a duty, for a time (s) in which the wheels are told to go by ``told`` (m/s)."""
        size, follows = abs(duty), min(1.0, seconds / LAG)
        on = math.copysign(1.0, duty) if duty else 0.0
        self._speed += (_goal(self._top_speed, duty, self._band) - self._speed) * follows
        self._most_speed += (_goal(self._top_speed, duty, self._narrow) - self._most_speed) * follows
        self._least_speed += (_goal(self._top_speed, duty, self._wide) - self._least_speed) * follows
        self._duty += (duty - self._duty) * follows
        self._on += (on - self._on) * follows
        self._same = self._same + seconds if duty * self._duty > 0.0 else 0.0
        if self._same >= SETTLED:
            self._driven = self._driven.plus(Driven(self._duty * seconds, self._on * seconds, told * seconds))
        sense = int(on) if size >= self._sure else 0
        self._steady = self._steady + seconds if sense == self.sense else 0.0
        self.sense = sense
        if not sense or self._steady < SETTLED:
            return
        self._way += self._speed * seconds
        self._most += self._most_speed * seconds
        self._least += self._least_speed * seconds
        self._judged += seconds
        if size >= self._faster:
            self._fast += seconds

    @property
    def is_steady(self) -> bool:
        """It has been driven the same way round for long enough."""
        return self._same >= SETTLED

    def take(self, seconds: float) -> Expected:
        """Return what is to be expected of the counts of the last ``seconds``, and begin the next."""
        half, due = 0.5 * seconds, Due(abs(self._least), abs(self._most))
        expected = Expected(self._way, due, self._driven, self._judged >= half, self._fast >= half)
        self._forget()
        return expected


def _goal(top_speed: float, duty: float, dead_band: float) -> float:
    """Return the speed (m/s) that a duty leads to with such a dead band."""
    over = abs(duty) - dead_band
    return math.copysign(over / (1.0 - dead_band) * top_speed, duty) if over > 0.0 else 0.0
