"""Wheel counts -> wheel travel and speeds, with what cannot be refused."""

from rover.devices.readings import Reading, WheelCounts

PLAUSIBLE_FACTOR = 1.6
"""A wheel may seem this many times faster than the robot's top speed before its increment is refused."""
COUNT_SPEED = 0.03
"""Speeds settle so slowly that one count more or less in a report is less than this (m/s)..."""
SETTLES_AT_MOST = 0.25
"""... but in so many seconds: with a very coarse encoder they are rough rather than late."""


def settling_time(metres_per_count: float) -> float:
    """Return the time (s) in which a speed by counts settles: none where counts are fine."""
    return min(SETTLES_AT_MOST, metres_per_count / COUNT_SPEED)


def settled(speed: float, way: float, seconds: float, settles: float) -> float:
    """Return a speed (m/s) after a report of a way (m), settling as an exponential (s) where the report is shorter."""
    return speed + (way / seconds - speed) * (seconds / settles if seconds < settles else 1.0)


class Odometer:
    """Turns cumulative counts into travel (m) of the two sides, and refuses what no wheel can do.

    Args:
        metres_per_count: wheel travel in one count (m), mean of the two sides.
        top_speed: of a wheel (m/s).
        scales: what the left and the right counts are multiplied by, to make up for unequal wheels.

    Attributes:
        refused: how many reports have been refused.
        restarts: how often the device that counts has restarted.
        rebased: how often it was begun anew from a reading, so that no one tells of the way until then.
        speed_left, speed_right: of the two sides (m/s); with coarse counts they settle over several reports.
    """

    def __init__(self, metres_per_count: float, top_speed: float, scales: tuple[float, float] = (1.0, 1.0)) -> None:
        self._metres, self._settles = metres_per_count, settling_time(metres_per_count)
        self._left, self._right = (metres_per_count * scale for scale in scales)
        self._top_speed = top_speed
        self._last: Reading | None = None
        self._doubted: Reading | None = None
        self.refused = self.restarts = self.rebased = 0
        self.speed_left = self.speed_right = 0.0

    def travel(self, reading: Reading) -> tuple[float, float, float] | None:
        """Return (left, right, seconds) since the last accepted reading, or None where that cannot be told.

        A restart of the device re-bases without travel. An increment that no wheel can make is refused and counted:
        one wrong report is as if it had not come, and only a second one that follows from it re-bases.
        """
        last = self._last
        if last is None or reading.value.boot != last.value.boot:
            self.restarts += last is not None
            self._rebase(reading)
            return None
        travel = self._between(last, reading)
        if travel is not None:
            self._last, self._doubted = reading, None
            left, right, seconds = travel
            self.speed_left = settled(self.speed_left, left, seconds, self._settles)
            self.speed_right = settled(self.speed_right, right, seconds, self._settles)
            return travel
        self.refused += 1
        doubted, self._doubted = self._doubted, reading
        if doubted is not None and self._between(doubted, reading) is not None:
            self._rebase(reading)
        return None

    def _between(self, last: Reading, reading: Reading) -> tuple[float, float, float] | None:
        """Return (left, right, seconds) from one reading to another, None where no wheel can do that."""
        seconds = (reading.taken_ns - last.taken_ns) * 1e-9
        if seconds <= 0.0:
            return None
        left = (reading.value.left - last.value.left) * self._left
        right = (reading.value.right - last.value.right) * self._right
        most = self._top_speed * PLAUSIBLE_FACTOR * seconds + 2.0 * self._metres
        return (left, right, seconds) if -most <= left <= most and -most <= right <= most else None

    def _rebase(self, reading: Reading) -> None:
        if isinstance(reading.value, WheelCounts):
            self._last = reading
        self.rebased += 1
        self._doubted = None
        self.speed_left = self.speed_right = 0.0
