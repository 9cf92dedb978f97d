"""Wheel counts -> wheel travel, with what cannot be refused."""

from rover.devices.readings import Reading, WheelCounts

PLAUSIBLE_FACTOR = 1.6
"""A wheel may seem this many times faster than the robot's top speed before its increment is refused."""


class Odometer:
    """Turns cumulative counts into travel (m) of the two sides, and refuses what no wheel can do.

    Args:
        metres_per_count: wheel travel in one count (m), mean of the two sides.
        top_speed: of a wheel (m/s).
        scales: what the left and the right counts are multiplied by, to make up for unequal wheels.
    """

    def __init__(self, metres_per_count: float, top_speed: float, scales: tuple[float, float] = (1.0, 1.0)) -> None:
        self._metres = metres_per_count
        self._left, self._right = (metres_per_count * scale for scale in scales)
        self._top_speed = top_speed
        self._last: Reading | None = None
        self.refused = 0
        self.speed_left = self.speed_right = 0.0

    def travel(self, reading: Reading) -> tuple[float, float, float] | None:
        """Return (left, right, seconds) since the last accepted reading, or None where that cannot be told.

        A restart of the device re-bases without travel; an increment that no wheel can make is refused and counted.
        """
        last, counts = self._last, reading.value
        if last is None or counts.boot != last.value.boot:
            self._rebase(reading)
            return None
        seconds = (reading.taken_ns - last.taken_ns) * 1e-9
        if seconds <= 0.0:
            self.refused += 1
            return None
        left = (counts.left - last.value.left) * self._left
        right = (counts.right - last.value.right) * self._right
        most = self._top_speed * PLAUSIBLE_FACTOR * seconds + 2.0 * self._metres
        if not (-most <= left <= most and -most <= right <= most):
            self.refused += 1
            self._rebase(reading)
            return None
        self._last = reading
        self.speed_left, self.speed_right = left / seconds, right / seconds
        return left, right, seconds

    def _rebase(self, reading: Reading) -> None:
        if isinstance(reading.value, WheelCounts):
            self._last = reading
        self.speed_left = self.speed_right = 0.0
