"""How wrong the pose filter's six states may be: a covariance that grows with the motion and shrinks by measurements.

The bias of the place is a first-order Gauss-Markov process in the way gone (A. Gelb, ed., "Applied Optimal
Estimation", 1974, the section on random processes; from memory): steel near by pulls a compass differently a metre on.
Without it the filter would take twenty wrong headings a second for twenty independent ones. The drift is a random
walk: position fixes tell it, and it is still known a trip later.

Over any path the Jacobian of position by heading is the way gone, turned by a right angle, so the covariance is brought
up to the mean only when it is needed. Plain floats: on 6x6 matrices numpy's calls cost more than the arithmetic.
"""

import math
from collections.abc import Sequence

CHI_SQUARE_1_99 = 6.6349
"""99 % quantile of chi-square with one degree of freedom (scipy.stats.chi2.ppf)."""
SIDEWAYS_SHARE = 0.15
"""Variance across the way, as a share of that along it: a skid-steer base scrubs sideways."""
BIAS_DISTANCE = 1.0
"""Way (m) over which the sensor's bias of the place is another one, to 1/e."""
DRIFT_SIGMA = math.radians(1.2)
"""Standard deviation of the sensor's error that is the same everywhere (rad), at the start..."""
DRIFT_TIME = 300.0
"""... and of its change over so many seconds."""
SCALE_SIGMA = 0.02
"""Standard deviation of the odometer's scale before anything is known of it: slip of the floor, wear of the wheels."""

X, Y, HEADING, PLACE_BIAS, DRIFT, SCALE = range(6)
_STATES = range(6)


class Motion:
    """The motion since the covariance was last brought up to the mean.

    Attributes:
        x, y: way gone (m), field frame.
        xx, xy, yy: variance of that way (m^2), field frame.
        path: length of the way (m).
        turning_noise: variance of the turns (rad^2).
        turned_by_wheels: turns for which there was no turn rate but the wheels' (rad), each taken positive.
        seconds: time passed (s).
    """

    __slots__ = ("path", "seconds", "turned_by_wheels", "turning_noise", "x", "xx", "xy", "y", "yy")

    def __init__(self) -> None:
        self.x = self.y = self.xx = self.xy = self.yy = 0.0
        self.path = self.turning_noise = self.turned_by_wheels = self.seconds = 0.0

    def add_noise(self, along: float, c: float, s: float) -> None:
        """Add variance (m^2) along a direction of this cosine and sine, and a share of it across."""
        across = SIDEWAYS_SHARE * along
        self.xx += along * c * c + across * s * s
        self.xy += (along - across) * c * s
        self.yy += along * s * s + across * c * c


class Covariance:
    """The covariance of the states, row by row."""

    __slots__ = ("_bias_variance", "rows")

    def __init__(self, rows: list[list[float]], bias_variance: float) -> None:
        self.rows = rows
        self._bias_variance = bias_variance

    @classmethod
    def at_start(cls, start: tuple[float, float, float], heading_bias: float) -> "Covariance":
        """Return that at the start, from the sigmas of x, y, heading and of the heading sensor's bias (m, rad)."""
        diagonal = (*(sigma * sigma for sigma in start), heading_bias**2, DRIFT_SIGMA**2, SCALE_SIGMA**2)
        rows = [[diagonal[row] if row == column else 0.0 for column in _STATES] for row in _STATES]
        return cls(rows, heading_bias**2)

    def copy(self) -> "Covariance":
        """Return another one of the same numbers."""
        return Covariance([row[:] for row in self.rows], self._bias_variance)

    @property
    def sigma(self) -> float:
        """Standard deviation of the position along its worst axis (m)."""
        px, py = self.rows[X], self.rows[Y]
        middle, spread = 0.5 * (px[X] + py[Y]), 0.5 * (px[X] - py[Y])
        return math.sqrt(max(0.0, middle + math.sqrt(spread * spread + px[Y] * px[Y])))

    @property
    def sigmas(self) -> tuple[float, float, float]:
        """Standard deviations of x, y (m) and heading (rad)."""
        px, py, pt = self.rows[:3]
        return math.sqrt(px[X]), math.sqrt(py[Y]), math.sqrt(max(0.0, pt[HEADING]))

    def grow(self, motion: Motion, turn_sigma: float) -> float:
        """Grow by a motion, P' = F P F^T + Q, and return the share of the bias of the place that is left after it.

        Args:
            motion: since the last time.
            turn_sigma: of the turns that the wheels alone tell (rad).
        """
        px, py, pt, *others = self.rows
        scale = others[-1]
        dx, dy = motion.x, motion.y
        px = [px[j] - dy * pt[j] + dx * scale[j] for j in _STATES]
        py = [py[j] + dx * pt[j] + dy * scale[j] for j in _STATES]
        self.rows = [px, py, pt, *others]
        for row in self.rows:
            row[X] += -dy * row[HEADING] + dx * row[SCALE]
            row[Y] += dx * row[HEADING] + dy * row[SCALE]
        kept = math.exp(-motion.path / BIAS_DISTANCE)
        self._let_bias_change(kept, motion.seconds)
        px[X] += motion.xx
        px[Y] += motion.xy
        py[X] += motion.xy
        py[Y] += motion.yy
        pt[HEADING] += motion.turning_noise
        if turn_sigma:  # a wrong track is wrong in every turn alike: the deviation grows, not the variance
            sigma = math.sqrt(max(0.0, pt[HEADING])) + turn_sigma
            pt[HEADING] = sigma * sigma
        return kept

    def _let_bias_change(self, kept: float, seconds: float) -> None:
        for row in self.rows:
            row[PLACE_BIAS] *= kept
        here = self.rows[PLACE_BIAS]
        for j in _STATES:
            here[j] *= kept
        here[PLACE_BIAS] += (1.0 - kept * kept) * self._bias_variance
        self.rows[DRIFT][DRIFT] += DRIFT_SIGMA**2 * seconds / DRIFT_TIME

    def correct(self, slopes: Sequence[tuple[int, float]], innovation: float, variance: float) -> list[float] | None:
        """Shrink by one scalar measurement, and return what each state is corrected by for one unit of innovation.

        Args:
            slopes: the measurement's derivatives by the states it depends on, as (state, slope).
            innovation: measured less predicted.
            variance: of the measurement.

        Returns:
            None when the gate (99 % of chi-square with one degree of freedom) refuses it; then nothing changes.
        """
        rows = self.rows
        first, slope = slopes[0]
        shared = [row[first] * slope for row in rows]
        for state, slope in slopes[1:]:
            shared = [value + row[state] * slope for value, row in zip(shared, rows, strict=True)]
        total = variance
        for state, slope in slopes:
            total += shared[state] * slope
        if innovation * innovation > CHI_SQUARE_1_99 * total:
            return None
        gain = [value / total for value in shared]
        for row, weight in zip(rows, gain, strict=True):
            row[X] -= weight * shared[X]
            row[Y] -= weight * shared[Y]
            row[HEADING] -= weight * shared[HEADING]
            row[PLACE_BIAS] -= weight * shared[PLACE_BIAS]
            row[DRIFT] -= weight * shared[DRIFT]
            row[SCALE] -= weight * shared[SCALE]
        return gain
