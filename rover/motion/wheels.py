"""Wheel speed control: wanted speeds -> duties, by feed-forward past the dead band and the measured speed's error."""

from rover.quantities import clamp

INTEGRAL_GAIN = 2.5
"""Duty per second for a speed error of the whole top speed."""
PROPORTIONAL_GAIN = 0.6
MOST_INTEGRAL = 0.5
LAG = 0.12
"""Seconds after which a motor has taken up 63 % of a change: so long it may be behind without being corrected, and as
long again as its measured speed takes to settle."""
CREEP = 0.01
"""Wanted speeds (m/s) smaller than this are zero."""


def past_dead_band(duty: float, dead_band: float) -> float:
    """Return the duty that turns the wheel as ``duty`` would without a dead band: sgn(u)(d + (1-d)|u|), 0 at 0."""
    if duty == 0.0:
        return 0.0
    size = dead_band + (1.0 - dead_band) * abs(duty)
    return clamp(size if duty > 0.0 else -size, -1.0, 1.0)


class WheelControl:
    """Controls one side's speed. Gains come from the robot file's top speed and dead band.

    Args:
        top_speed: of the wheel (m/s).
        dead_band: duty below which it does not turn.
        settles: time (s) that the measured speed takes to settle (`rover.estimate.odometry.settling_time`).
    """

    __slots__ = ("_dead_band", "_expected", "_integral", "_lag", "_top_speed")

    def __init__(self, top_speed: float, dead_band: float, settles: float = 0.0) -> None:
        self._top_speed = top_speed
        self._dead_band = dead_band
        self._lag = LAG + settles
        self._integral = self._expected = 0.0

    def duty(self, wanted: float, measured: float | None, seconds: float) -> float:
        """Return the duty for a wanted speed (m/s); ``measured`` None means that no fresh count is there."""
        if -CREEP < wanted < CREEP:
            self._integral = self._expected = 0.0
            return 0.0
        self._expected += (wanted - self._expected) * (seconds / self._lag if seconds < self._lag else 1.0)
        share = wanted / self._top_speed
        correction = 0.0
        if measured is not None:
            error = (self._expected - measured) / self._top_speed
            raw = share + PROPORTIONAL_GAIN * error + self._integral
            if -1.0 < raw < 1.0 or raw * error < 0.0:  # anti-windup: integrate only where it can act
                self._integral += INTEGRAL_GAIN * error * seconds
                self._integral = clamp(self._integral, -MOST_INTEGRAL, MOST_INTEGRAL)
            correction = PROPORTIONAL_GAIN * error
        duty = share + correction + self._integral
        if duty * wanted < 0.0:
            return 0.0  # too fast: roll on. A reversal at every creep would jerk to and fro across the dead band
        return past_dead_band(duty, self._dead_band)
