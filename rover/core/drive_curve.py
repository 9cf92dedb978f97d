"""How fast its duty has proved to drive a side: speed = gain x (duty - dead band), learned while all goes well.

The steady state of a motor with friction is a straight line beyond its dead band (common practice, no source). Both
numbers are learned by recursive least squares as a Kalman filter of a slow random walk (R. E. Kalman, "A New Approach
to Linear Filtering and Prediction Problems", 1960; from memory), from the robot file's as a first guess. What does not
fit is not learned: a lie that begins when the line is known meets it as it was.
"""

import math

from rover.core.due import Driven, Due

GUESS = (0.3, 0.75)
"""Standard deviations of the robot file's gain and dead band, as shares of them ..."""
BAND_LEAST = 0.08
"""... of the dead band at least this share of full duty: who gives none may have one."""
GAIN_WANDERS, BAND_WANDERS = 0.01, 0.0005
"""In a second the gain wanders by this share of it (standard deviation; battery, warmth, floor), the dead band by this
share of full duty."""
FITS = 0.1
"""A way differs from the line by this share (standard deviation): load, ground, and the motor's lag."""
UNLIKE_A_LINE = 0.01
"""And the line is off by what this share of full duty makes (standard deviation): motors bend, friction falls."""
CREEPS = 0.1
"""Wheels that are told less than this share of their top speed tell nothing: there a motor is least of all a line."""
GATE = 3.0
"""What differs by more standard deviations is not learned."""
LEARNED_S, LEARNED_COUNTS = 0.4, 4.0
"""Ways are taken together over so long (s), and so many counts: beginnings and endings cancel."""
SIGMAS = 2.0
LEARNED_SHARES = (0.7, 1.4)
"""Only where such a share of what was told is counted is the line learned: not of a wheel that is blocked, or jerks."""


class DriveCurve:
    """Learns the line of one side.

    Args:
        top_speed: at full duty (m/s), as the robot file has it.
        dead_band: the same.
        count: way in one encoder count (m).
    """

    def __init__(self, top_speed: float, dead_band: float, count: float) -> None:
        self._top_speed, self._count = top_speed, count
        gain = top_speed / (1.0 - dead_band)
        self._gain, self._held_back = gain, gain * dead_band
        of_gain = GUESS[0] * gain
        of_band = max(GUESS[1] * dead_band, BAND_LEAST) * gain
        self._gg, self._gh, self._hh = of_gain * of_gain, GUESS[0] * of_gain * self._held_back, of_band * of_band
        self._hh += (GUESS[0] * self._held_back) ** 2
        self._since = Driven()
        self._counted = 0.0

    def due(self, driven: Driven) -> Due:
        """Return the way (m) that is due by the line, as far as that is known; none at a creep."""
        bent = UNLIKE_A_LINE * self._gain * driven.seconds
        way, sigma = self._way(driven), math.sqrt(self._variance(driven) + bent * bent)
        if driven.told < CREEPS * self._top_speed * driven.seconds:
            return Due()
        return Due(max(0.0, way - SIGMAS * sigma), max(0.0, way + SIGMAS * sigma))

    def learn(self, driven: Driven, counted: float) -> None:
        """Take in a way (m) that was counted while the side was driven so."""
        self._since = self._since.plus(driven)
        self._counted += counted
        if self._since.seconds < LEARNED_S or self._counted < LEARNED_COUNTS * self._count:
            return
        since, way = self._since, self._counted
        self._since, self._counted = Driven(), 0.0
        self._wander(since.seconds)
        low, high = LEARNED_SHARES
        if since.told <= 0.0 or not low * since.told <= way <= high * since.told:
            return
        off = way - self._way(since)
        of_gain = self._gg * since.duty - self._gh * since.seconds
        of_held = self._gh * since.duty - self._hh * since.seconds
        variance = self._variance(since) + (FITS * way) ** 2 + self._count * self._count
        if off * off > GATE * GATE * variance:
            return
        self._gain += of_gain * off / variance
        self._held_back += of_held * off / variance
        self._gg -= of_gain * of_gain / variance
        self._gh -= of_gain * of_held / variance
        self._hh -= of_held * of_held / variance
        if self._held_back < 0.0:  # no dead band is: the gain is as it would be with none
            self._gain -= self._gh / self._hh * self._held_back
            self._held_back = 0.0

    def _way(self, driven: Driven) -> float:
        return self._gain * driven.duty - self._held_back * driven.seconds

    def _wander(self, seconds: float) -> None:
        of_gain = GAIN_WANDERS * GAIN_WANDERS * seconds
        of_band = (BAND_WANDERS * self._gain) ** 2 * seconds
        self._gg += of_gain * self._gain * self._gain
        self._gh += of_gain * self._gain * self._held_back
        self._hh += of_gain * self._held_back * self._held_back + of_band

    def _variance(self, driven: Driven) -> float:
        duty, seconds = driven.duty, driven.seconds
        return max(0.0, duty * duty * self._gg - 2.0 * duty * seconds * self._gh + seconds * seconds * self._hh)
