"""The pose filter: position and heading from wheel travel, corrected by heading readings through a gate.

Motion: midpoint odometry with the error growth of R. Siegwart and I. Nourbakhsh, "Introduction to Autonomous
Mobile Robots", the section on odometry: P' = Fp P Fp^T + Fu Q Fu^T, Q = diag(k|dr|, k|dl|). Where the heading
sensor tells its turn rate, that turns the estimate instead of the wheels: a skid-steer base turns by slipping. A
side that travels more than rate and other side allow has slipped, and only what is left of it counts. The heading
is corrected as in an extended Kalman filter with one scalar measurement. Plain floats: on 3x3 matrices numpy's
calls cost more than the arithmetic.
"""

import math
from collections import deque
from typing import NamedTuple

from rover.quantities import wrap

CHI_SQUARE_1_99 = 6.6349
"""99 % quantile of chi-square with one degree of freedom (scipy.stats.chi2.ppf)."""
REFUSALS_BEFORE_DOUBT = 10
"""So many refused headings in a row, and the filter doubts itself rather than the sensor."""
HISTORY_NS = 1_500_000_000
TURN_SCALE_SIGMA = 0.12
"""Relative standard deviation of a skid-steer turn as the wheels tell it, once the track factor has settled."""
RATE_LASTS_NS = 160_000_000
"""A turn rate is used for so long after it was taken."""
RATE_SIGMA = 0.02
"""Standard deviation of a turn rate (rad/s), its being held between reports included."""
SLIP_RATE = 0.12
"""Wheels that turn the robot by this much (rad/s) more or less than the sensor tells, and by `SLIP_SHARE`, slip."""
SLIP_SHARE = 0.2
TRACK_GAIN = 0.02
LEARN_RATE = 0.5
"""The effective track is refined while the robot turns faster than this (rad/s)."""


class Pose(NamedTuple):
    """Position (m) and heading (rad) in the field frame."""

    x: float
    y: float
    heading: float


class PoseFilter:
    """Estimates the pose and its covariance.

    Args:
        start: pose at the start.
        sigmas: standard deviations of the start (m, m, rad).
        track: effective track (m), as first guess; the filter refines it from heading readings.
        error_growth: k, in metres of variance per metre travelled by a wheel.
        heading_sigma: standard deviation of a heading reading (rad), slow errors of the place included.
    """

    __slots__ = (
        "_growth",
        "_history",
        "_r",
        "_rate",
        "_rate_until_ns",
        "_xt",
        "_xx",
        "_xy",
        "_yt",
        "_yy",
        "heading",
        "heading_rate",
        "refused",
        "refused_in_row",
        "slips",
        "speed",
        "track",
        "travelled",
        "tt",
        "x",
        "y",
    )

    def __init__(
        self, start: Pose, sigmas: tuple[float, float, float], track: float, error_growth: float, heading_sigma: float
    ) -> None:
        self.x, self.y, self.heading = start.x, start.y, wrap(start.heading)
        self._xx, self._yy, self.tt = (sigma * sigma for sigma in sigmas)
        self._xy = self._xt = self._yt = 0.0
        self.track = track
        self._growth = error_growth
        self._r = heading_sigma * heading_sigma
        self.speed = self.heading_rate = self.travelled = 0.0
        self.refused = self.refused_in_row = 0
        self._history: deque[tuple[int, float, float, float]] = deque()
        self._rate = 0.0
        self._rate_until_ns = -1
        self.slips = 0

    @property
    def pose(self) -> Pose:
        """The present estimate."""
        return Pose(self.x, self.y, self.heading)

    @property
    def covariance(self) -> tuple[float, float, float, float, float, float]:
        """(xx, xy, xt, yy, yt, tt) of the present estimate: m^2, m rad, rad^2."""
        return self._xx, self._xy, self._xt, self._yy, self._yt, self.tt

    @property
    def sigma(self) -> float:
        """Standard deviation of the position along its worst axis (m)."""
        middle = 0.5 * (self._xx + self._yy)
        return math.sqrt(max(0.0, middle + math.hypot(0.5 * (self._xx - self._yy), self._xy)))

    def drive(self, left: float, right: float, seconds: float, now_ns: int) -> None:
        """Move the estimate by the travel (m) of the left and right wheels over ``seconds`` up to ``now_ns``."""
        b = self.track
        if now_ns <= self._rate_until_ns:
            dt = self._rate * seconds
            left, right = self._without_slip(left, right, dt, seconds)
            self.tt += RATE_SIGMA * RATE_SIGMA * 0.05 * seconds
        else:
            dt = (right - left) / b
            self.tt += (TURN_SCALE_SIGMA * dt) ** 2
        ds = 0.5 * (left + right)
        a = self.heading + 0.5 * dt
        c, s = math.cos(a), math.sin(a)
        self.x += ds * c
        self.y += ds * s
        self.heading = wrap(self.heading + dt)
        self.speed, self.heading_rate = ds / seconds, dt / seconds
        self.travelled += abs(ds)
        if left or right:
            self._grow(left, right, ds, c, s)

    def _without_slip(self, left: float, right: float, dt: float, seconds: float) -> tuple[float, float]:
        """Return the travel of both sides, the slipping one's replaced by what the turn rate leaves of it.

        A driven wheel that slips turns farther than the ground goes by, so the side to doubt is the one that is ahead.
        """
        by_wheels = right - left
        turned = dt * self.track
        if abs(self._rate) > LEARN_RATE and 0.4 < by_wheels / turned < 2.5:
            self.track += TRACK_GAIN * (by_wheels / dt - self.track)
        excess = by_wheels - turned
        if abs(excess) <= self.track * SLIP_RATE * seconds + SLIP_SHARE * abs(turned):
            return left, right
        self.slips += 1
        forwards = left + right >= 0.0
        if (excess > 0.0) == forwards:
            return left, left + turned
        return right - turned, right

    def _grow(self, left: float, right: float, ds: float, c: float, s: float) -> None:
        fx, fy = -ds * s, ds * c
        xx, xy, xt, yy, yt, tt = self._xx, self._xy, self._xt, self._yy, self._yt, self.tt
        xxn = xx + 2.0 * fx * xt + fx * fx * tt
        xyn = xy + fy * xt + fx * yt + fx * fy * tt
        yyn = yy + 2.0 * fy * yt + fy * fy * tt
        xtn, ytn = xt + fx * tt, yt + fy * tt
        b = self.track
        qr, ql = self._growth * abs(right), self._growth * abs(left)
        h = ds / (2.0 * b)
        xr, xl = 0.5 * c - h * s, 0.5 * c + h * s
        yr, yl = 0.5 * s + h * c, 0.5 * s - h * c
        i = 1.0 / b
        self._xx = xxn + xr * xr * qr + xl * xl * ql
        self._xy = xyn + xr * yr * qr + xl * yl * ql
        self._yy = yyn + yr * yr * qr + yl * yl * ql
        self._xt = xtn + i * (xr * qr - xl * ql)
        self._yt = ytn + i * (yr * qr - yl * ql)
        self.tt = tt + i * i * (qr + ql)

    def lost(self, metres: float) -> None:
        """Widen the covariance by travel that was not measured."""
        self._xx += metres * metres
        self._yy += metres * metres
        self.tt += (metres / self.track) ** 2

    def remember(self, now_ns: int) -> None:
        """Keep the present pose, so that readings that come late can be held against the pose of their time."""
        history = self._history
        history.append((now_ns, self.x, self.y, self.heading))
        while now_ns - history[0][0] > HISTORY_NS:
            history.popleft()

    def at(self, taken_ns: int) -> Pose:
        """Return the pose remembered for a time; the oldest or newest one beyond the ends."""
        for entry in reversed(self._history):
            if entry[0] <= taken_ns:
                return Pose(entry[1], entry[2], entry[3])
        return Pose(*self._history[0][1:]) if self._history else self.pose

    def see_heading(self, angle: float, rate: float | None, taken_ns: int) -> bool:
        """Correct by a heading reading (rad, rad/s) of its time; return False when the gate refuses the angle."""
        if rate is not None:
            self._rate, self._rate_until_ns = rate, taken_ns + RATE_LASTS_NS
        innovation = wrap(angle - self.at(taken_ns).heading)
        variance = self.tt + self._r
        if innovation * innovation > CHI_SQUARE_1_99 * variance:
            self._refuse()
            return False
        self.refused_in_row = 0
        self._correct(innovation, variance)
        return True

    def _refuse(self) -> None:
        self.refused += 1
        self.refused_in_row += 1
        if self.refused_in_row >= REFUSALS_BEFORE_DOUBT:
            self.tt *= 4.0

    def _correct(self, innovation: float, variance: float) -> None:
        kx, ky, kt = self._xt / variance, self._yt / variance, self.tt / variance
        dx, dy = kx * innovation, ky * innovation
        self.x += dx
        self.y += dy
        self.heading = wrap(self.heading + kt * innovation)
        xt, yt, tt = self._xt, self._yt, self.tt
        self._xx -= kx * xt
        self._xy -= kx * yt
        self._yy -= ky * yt
        self._xt -= kx * tt
        self._yt -= ky * tt
        self.tt -= kt * tt
