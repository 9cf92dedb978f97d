"""How wrong the pose filter's nine states may be: a covariance that grows with the motion and shrinks by measurements.

The bias of the place is a first-order Gauss-Markov process in the way gone (A. Gelb, ed., "Applied Optimal
Estimation", 1974, the section on random processes; from memory): steel near by pulls a compass differently a metre on.
Without it the filter would take twenty wrong headings a second for twenty independent ones. The drift is a random
walk: position fixes tell it, and it is still known a trip later. Scales and the turn centre belong to the base: they
hardly change, and whatever fixes the position tells of them.

Over any path the Jacobian of position by heading is the way gone, turned by a right angle, so the covariance is brought
up to the mean only when it is needed. Plain floats: on 9x9 matrices numpy's calls cost more than the arithmetic.
"""

import math
from collections.abc import Sequence
from typing import NamedTuple

from rover.estimate.doubt import Doubt
from rover.geometry import XY
from rover.quantities import clamp

CHI_SQUARE_1_99 = 6.6349
"""99 % quantile of chi-square with one degree of freedom (scipy.stats.chi2.ppf)."""
SIDEWAYS_SHARE = 0.15
"""Variance across the way, as a share of that along it: a skid-steer base scrubs sideways."""
BIAS_DISTANCE = 1.0
"""Way (m) over which the sensor's bias of the place is another one, to 1/e."""
DRIFT_SIGMA = math.radians(3.0)
"""Standard deviation of the sensor's error that is the same everywhere (rad), at the start: how it is mounted and
calibrated, and iron on the robot itself (common practice, no source). Fixes soon tell it; one taken for less than it is
turns the robot's first trips away from where they lead, and it is sure of them."""
DRIFT_HOLDS = 60.0
"""The heading sensor drifts one way for about so long (s) before it drifts another."""
BIAS_STATED_FOR, BIAS_LEARNED_IN = 3.0, 10.0
"""How large the bias of the place is wont to be: what is stated counts as much as what is seen in so many distances in
which it changes, and what was seen counts for so many at most."""
BIAS_LEAST, BIAS_MOST = 0.5, 200.0
"""Its variance stays within these multiples of the stated one."""
SCALE_SIGMA = 0.03
"""Standard deviation of the odometer's scale before anything is known of it: slip of the floor, wear of the wheels."""
SCALE_CHANGE = 5e-6
"""Growth of its variance with each metre: one piece of floor lets wheels slip more than the next."""
TURN_SCALE_SIGMA = 0.2
"""Share of a turn by which the wheels alone may be wrong about it while the effective track is a guess: a skid-steer
base turns as if its track were 1.2 to 1.9 times the geometric one."""
TURN_SCALE_CHANGE = 0.03**2
"""Growth of that variance with each radian turned: it depends on the load, the floor, and how narrow a turn is."""
STATES = 9
X, Y, HEADING, PLACE_BIAS, DRIFT, SCALE, TURN_SCALE, TURN_AHEAD, TURN_LEFT = _STATES = range(STATES)


class Errors(NamedTuple):
    """How wrong things may be (standard deviations).

    Attributes:
        start: x, y, heading of the pose at the start (m, m, rad).
        growth: metres of variance for each metre that a wheel travels.
        heading_noise: of one heading reading (rad).
        heading_bias: of the heading sensor at a place (rad).
        heading_drift: of the rate at which its error changes everywhere alike (rad/s).
        resolution: travel of a wheel (m) in one encoder count: where it stands between two counts nobody knows.
        turn_centre: of the point about which the base turns, ahead and left (m); ``centre_moves``, by how much
            either moves while it turns by a radian: it lies farther ahead in a bend than on the spot, behind in a bend
            backwards, and elsewhere with a load.
        scrub: of the position, in either direction, after a turn of a radian (m): the wheels of a skid-steer base are
            dragged sideways over the ground, which moves it by some millimetres, and not twice alike.
    """

    start: tuple[float, float, float]
    growth: float
    heading_noise: float
    heading_bias: float
    heading_drift: float = 1.5e-4
    resolution: float = 0.0
    turn_centre: XY = (0.03, 0.03)
    centre_moves: float = 0.003
    scrub: float = 0.01


class Spread:
    """A variance of the position (m^2), field frame."""

    __slots__ = ("xx", "xy", "yy")

    def __init__(self) -> None:
        self.xx = self.xy = self.yy = 0.0

    def add_along(self, along: float, c: float, s: float) -> None:
        """Add variance along a direction of this cosine and sine, and a share of it across."""
        across = SIDEWAYS_SHARE * along
        self.xx += along * c * c + across * s * s
        self.xy += (along - across) * c * s
        self.yy += along * s * s + across * c * c

    def add(self, other: "Spread") -> None:
        """Add another."""
        self.xx += other.xx
        self.xy += other.xy
        self.yy += other.yy

    def add_all_round(self, variance: float) -> None:
        """Add the same variance in all directions."""
        self.xx += variance
        self.yy += variance


class Motion:
    """The motion since the covariance was last brought up to the mean.

    Attributes:
        x, y: way gone (m), field frame.
        swept_x, swept_y: turns (rad) along the headings in which they were made, field frame: a turn centre a metre to
            the left would have moved the base so far (m).
        rolled: variance of wheels that roll, and scrub in turns.
        unsure: variance of what else is not known of the way.
        path: length of the way (m).
        turning_noise: variance of the turns (rad^2).
        turned_by_wheels: turn for which there was no turn rate but the wheels' (rad).
        turned: all turns (rad), each taken positive.
        seconds: time passed (s).
    """

    __slots__ = (
        "path",
        "rolled",
        "seconds",
        "swept_x",
        "swept_y",
        "turned",
        "turned_by_wheels",
        "turning_noise",
        "unsure",
        "x",
        "y",
    )

    def __init__(self) -> None:
        self.x = self.y = self.swept_x = self.swept_y = 0.0
        self.path = self.turning_noise = self.turned_by_wheels = self.turned = self.seconds = 0.0
        self.rolled, self.unsure = Spread(), Spread()

    def go(self, way: float, turn: float, c: float, s: float) -> None:
        """Add a way (m) and a turn (rad) along a heading of this cosine and sine."""
        self.x += way * c
        self.y += way * s
        self.swept_x += turn * c
        self.swept_y += turn * s
        self.turned += abs(turn)
        self.path += abs(way)

    def turn(self, begun: float, ended: float) -> None:
        """Add a turn on the spot from one heading (rad) to another, however far round."""
        self.swept_x += math.sin(ended) - math.sin(begun)
        self.swept_y += math.cos(begun) - math.cos(ended)
        self.turned += abs(ended - begun)


def without_noise(motion: Motion) -> Motion:
    """Return a motion as one that could be made without an error of its own: only what is unknown now counts."""
    exact = Motion()
    exact.x, exact.y, exact.swept_x, exact.swept_y = motion.x, motion.y, motion.swept_x, motion.swept_y
    return exact


class Covariance:
    """The covariance of the states, row by row.

    Attributes:
        rows: of the symmetric matrix.
        bias_variance: of the sensor's bias of the place (rad^2), wherever it is not known better.
        drift_growth: of the variance of its drift (rad^2 a second).
    """

    __slots__ = ("_errors", "_learned_in", "bias_variance", "drift_growth", "rows")

    def __init__(self, rows: list[list[float]], errors: Errors) -> None:
        self.rows, self._errors = rows, errors
        self.bias_variance = errors.heading_bias**2
        self._learned_in = BIAS_STATED_FOR
        self.drift_growth = DRIFT_HOLDS * errors.heading_drift**2

    @classmethod
    def at_start(cls, errors: Errors) -> "Covariance":
        """Return that at the start."""
        of_heading = errors.heading_bias, DRIFT_SIGMA
        sigmas = (*errors.start, *of_heading, SCALE_SIGMA, TURN_SCALE_SIGMA, *errors.turn_centre)
        rows = [[sigmas[row] ** 2 if row == column else 0.0 for column in _STATES] for row in _STATES]
        return cls(rows, errors)

    def copy(self) -> "Covariance":
        """Return another one of the same numbers."""
        copied = Covariance([row[:] for row in self.rows], self._errors)
        copied.bias_variance, copied.drift_growth = self.bias_variance, self.drift_growth
        return copied

    @property
    def of_position(self) -> Doubt:
        """The part of it that is the position's."""
        px, py = self.rows[X], self.rows[Y]
        return Doubt(px[X], px[Y], py[Y])

    def of_pose(self, heading: float, way: float, turn: float) -> tuple[float, float, float, float, float, float]:
        """Return (xx, xy, xt, yy, yt, tt), m and rad: with what is not known of a way ahead (m) and of a turn (rad)."""
        px, py, pt = self.rows[:3]
        c, s = way * math.cos(heading), way * math.sin(heading)
        return (px[X] + c * c, px[Y] + c * s, px[HEADING], py[Y] + s * s, py[HEADING], pt[HEADING] + turn * turn)

    @property
    def sigmas(self) -> tuple[float, float, float]:
        """Standard deviations of x, y (m) and heading (rad)."""
        px, py, pt = self.rows[:3]
        return math.sqrt(px[X]), math.sqrt(py[Y]), math.sqrt(max(0.0, pt[HEADING]))

    def grow(self, motion: Motion) -> float:
        """Grow by a motion, P' = F P F^T + Q, and return the share of the bias of the place that is left after it."""
        px, py, pt, pb, pd, scale, by_wheels, ahead, left = rows = self.rows
        dx, dy, u, v, turned = motion.x, motion.y, motion.swept_x, motion.swept_y, motion.turned_by_wheels
        px = [x - dy * t + dx * s + v * a + u * b for x, t, s, a, b in zip(px, pt, scale, ahead, left, strict=True)]
        py = [y + dx * t + dy * s - u * a + v * b for y, t, s, a, b in zip(py, pt, scale, ahead, left, strict=True)]
        pt = [t + turned * w for t, w in zip(pt, by_wheels, strict=True)] if turned else pt[:]
        for row in (px, py, pt):
            x, y, t, _, _, s, w, a, b = row
            row[X] = x - dy * t + dx * s + v * a + u * b
            row[Y] = y + dx * t + dy * s - u * a + v * b
            row[HEADING] = t + turned * w
        kept = math.exp(-motion.path / BIAS_DISTANCE)
        x, y, t, b, d, s, w, a, c = pb
        x, y, t = px[PLACE_BIAS] * kept, py[PLACE_BIAS] * kept, pt[PLACE_BIAS] * kept
        b = kept * kept * b + (1.0 - kept * kept) * self.bias_variance
        pb = [x, y, t, b, d * kept, s * kept, w * kept, a * kept, c * kept]
        px[PLACE_BIAS], py[PLACE_BIAS], pt[PLACE_BIAS] = x, y, t
        for state, row in enumerate((pd, scale, by_wheels, ahead, left), DRIFT):  # by symmetry
            row[X], row[Y], row[HEADING], row[PLACE_BIAS] = px[state], py[state], pt[state], pb[state]
        rows[:DRIFT] = px, py, pt, pb
        for spread in (motion.rolled, motion.unsure):
            px[X] += spread.xx
            px[Y] += spread.xy
            py[X] += spread.xy
            py[Y] += spread.yy
        pt[HEADING] += motion.turning_noise
        scale[SCALE] += SCALE_CHANGE * motion.path
        pd[DRIFT] += self.drift_growth * motion.seconds
        by_wheels[TURN_SCALE] += TURN_SCALE_CHANGE * motion.turned
        moved = self._errors.centre_moves**2 * motion.turned
        ahead[TURN_AHEAD] += moved
        left[TURN_LEFT] += moved
        return kept

    def learn_bias(self, bias: float, kept: float) -> None:
        """Learn how large the bias of the place is wont to be, from its estimate (rad) and what that leaves unknown.

        In the mean, their squares add up to its variance: so the step of expectation maximisation has it for a process
        that is stationary (R. H. Shumway and D. S. Stoffer, "An Approach to Time Series Smoothing and Forecasting Using
        the EM Algorithm", 1982; from memory). ``kept`` is the share that was left of it in the last motion.
        """
        seen = bias * bias + self.rows[PLACE_BIAS][PLACE_BIAS]
        self._learned_in = min(BIAS_LEARNED_IN, self._learned_in + 1.0 - kept)
        variance = self.bias_variance + (1.0 - kept) / self._learned_in * (seen - self.bias_variance)
        stated = self._errors.heading_bias**2
        self.bias_variance = clamp(variance, BIAS_LEAST * stated, BIAS_MOST * stated)

    def against(self, slopes: Sequence[tuple[int, float]]) -> tuple[list[float], float]:
        """Return P H^T and H P H^T for a measurement: how the states go with it, and the variance of what is predicted.

        ``slopes`` are its derivatives by the states it depends on, as (state, slope).
        """
        rows = self.rows
        if len(slopes) == 3:  # nearly all
            (i, a), (j, b), (k, c) = slopes
            shared = [a * x + b * y + c * z for x, y, z in zip(rows[i], rows[j], rows[k], strict=True)]
        else:
            shared = [sum(slope * rows[state][other] for state, slope in slopes) for other in _STATES]
        total = 0.0
        for state, slope in slopes:
            total += shared[state] * slope
        return shared, total

    def add(self, deviation: Sequence[float]) -> None:
        """Let the states vary by a deviation that is all or nothing, of all of them together: P + d d^T."""
        for row, a in zip(self.rows, deviation, strict=True):
            row[:] = [p + a * b for p, b in zip(row, deviation, strict=True)]

    def lose(self, way: float, turn: float) -> None:
        """Grow by a way (m) and a turn (rad) that were not measured."""
        for state, deviation in ((X, way), (Y, way), (HEADING, turn)):
            self.rows[state][state] += deviation * deviation

    def widen(self, slopes: Sequence[tuple[int, float]], factor: float) -> None:
        """Let what a measurement with these slopes is predicted to be vary by ``factor`` as much, P + k (PH)(PH)^T."""
        shared, total = self.against(slopes)
        if total > 0.0:
            self.shrink(shared, -total / (factor - 1.0))

    def shrink(self, shared: Sequence[float], total: float) -> list[float]:
        """Shrink by one scalar measurement, and return what each state is corrected by for one unit of innovation.

        Args:
            shared: P H^T.
            total: variance of the innovation, H P H^T + R.
        """
        gain = [value / total for value in shared]
        a, b, c, d, e, f, g, h, i = shared
        rows = []
        for weight, (p, q, r, s, t, u, v, w, x) in zip(gain, self.rows, strict=True):
            rows.append(
                [
                    p - weight * a,
                    q - weight * b,
                    r - weight * c,
                    s - weight * d,
                    t - weight * e,
                    u - weight * f,
                    v - weight * g,
                    w - weight * h,
                    x - weight * i,
                ]
            )
        self.rows = rows
        return gain
