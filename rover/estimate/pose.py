"""The pose filter: position and heading from wheel travel and turn rate, corrected by whatever tells of them.

An extended Kalman filter with six states: x, y, heading, the heading sensor's bias at this place, its drift, which is
the same everywhere, and the odometer's scale error. Motion is midpoint odometry with the error growth of R. Siegwart
and I. Nourbakhsh, "Introduction to Autonomous Mobile Robots", the section on odometry: a wheel's variance grows by k
for each metre it travels. Where the heading sensor tells its turn rate, that turns the estimate instead of the wheels:
a skid-steer base turns by slipping. A side that travels more than the rate and the other side allow has slipped, and
only what is left of it counts.

The mean moves with each count; its covariance (`rover.estimate.covariance`) follows when it is needed.
"""

import math
from collections import deque
from collections.abc import Sequence
from typing import NamedTuple

from rover.estimate.covariance import DRIFT, HEADING, PLACE_BIAS, SCALE, Covariance, Motion, X, Y
from rover.geometry import Pose
from rover.quantities import clamp, wrap

REFUSALS_BEFORE_DOUBT = 10
"""So many refused headings in a row, and the filter doubts itself rather than the sensor."""
HISTORY_NS = 1_500_000_000
TURN_SCALE_SIGMA = 0.1
"""Share of a turn by which the wheels alone may be wrong about it, once the effective track has been learned..."""
TURN_SCALE_GUESSED = 0.2
"""... and while it is a guess: a skid-steer base turns as if its track were 1.2 to 1.9 times the geometric one."""
UNMEASURED_SLIP = 0.003
"""Growth of the heading's variance (rad^2 a metre) by slips that the wheels alone cannot tell."""
TURN_TO_LEARN = 3.0
"""Turning (rad) beside the sensor's rate in which the guess is worth 1/e."""
HEADING_EVERY_NS = 190_000_000
"""Angles nearer together than this are left out (their rates are not): the bias of the place is in all of them."""
RATE_LASTS_NS = 160_000_000
"""A turn rate is used for so long after it was taken."""
RATE_VARIANCE = 5e-6
"""Growth of the heading's variance (rad^2 a second) while the sensor's turn rate is integrated."""
SLIP_RATE = 0.12
"""Wheels that turn the robot by this much (rad/s) more or less than the sensor tells, and by `SLIP_SHARE`, slip."""
SLIP_SHARE = 0.2
SLIP_DOUBT = 0.4
"""Share of a slip that is not known after it was taken out."""
TRACK_GAIN = 0.02
LEARN_RATE = 0.5
"""The effective track is refined while the robot turns faster than this (rad/s)."""

ONE_SIDE_GROWTH = 1e-3
"""Growth of the variance (m^2 a metre) by one side's travel alone: no slip of it is seen, and none is averaged out.

A burst of slip on a smooth floor takes some 6 cm from a side, once in 8 m: 4e-4; lost counts and steady slip as much.
"""
CARRY_ON_NS = 100_000_000
"""The estimate is carried on at the last speeds for so long beyond the last counts."""
CARRY_ON_DOUBT = 0.5
"""Share of the way since the last counts that is not known."""


class Errors(NamedTuple):
    """How wrong things may be (standard deviations).

    Attributes:
        start: x, y, heading of the pose at the start (m, m, rad).
        growth: metres of variance for each metre that a wheel travels.
        heading_noise: of one heading reading (rad).
        heading_bias: of the heading sensor at a place (rad).
    """

    start: tuple[float, float, float]
    growth: float
    heading_noise: float
    heading_bias: float


class PoseFilter:
    """Estimates the pose and its covariance. ``track`` is a first guess of the effective track (m)."""

    def __init__(self, start: Pose, track: float, errors: Errors) -> None:
        self.x, self.y, self.heading = start.x, start.y, wrap(start.heading)
        self.place_bias = self.drift = self.scale = 0.0
        self.track = track
        self._errors = errors
        self._covariance = Covariance.at_start(errors.start, errors.heading_bias)
        self.speed = self.heading_rate = self.travelled = 0.0
        self._commanded_way = self._commanded_turn = 0.0
        self._suspected_way = self._suspected_turn = 0.0
        self.refused = self.refused_in_row = self.slips = 0
        self._history: deque[tuple[int, float, float, float]] = deque()
        self._rate, self._rate_until_ns = 0.0, -1
        self._as_of_ns = 0
        self._motion = Motion()
        self._learned = 0.0
        self._next_heading_ns = -1

    @property
    def pose(self) -> Pose:
        """The estimate as of the last counts."""
        return Pose(self.x, self.y, self.heading)

    def pose_at(self, now_ns: int) -> Pose:
        """Return the estimate carried on to a time at the last speeds: counts are late by a few milliseconds."""
        if self.speed == self.heading_rate == 0.0:
            return self.pose
        age = clamp(now_ns - self._as_of_ns, 0, CARRY_ON_NS) * 1e-9
        turn, way = self.heading_rate * age, self.speed * age
        middle = self.heading + 0.5 * turn
        return Pose(self.x + way * math.cos(middle), self.y + way * math.sin(middle), wrap(self.heading + turn))

    def covariance(self, now_ns: int) -> tuple[float, float, float, float, float, float]:
        """Return (xx, xy, xt, yy, yt, tt) of `pose_at`: m^2, m rad, rad^2.

        It is wider the older the last counts are: the wheels may have done what they did then, or what they were told.

        Looking changes nothing: a replay that looks more or less often goes the same way, to the last digit.
        """
        grown = self._covariance.copy()
        if self._motion.seconds:
            grown.grow(self._motion, self._turn_sigma(self._motion))
        px, py, pt = grown.rows[:3]
        age = max(0, now_ns - self._as_of_ns) * 1e-9
        way = self._suspected_way + CARRY_ON_DOUBT * max(abs(self.speed) * age, self._commanded_way)
        turn = self._suspected_turn + CARRY_ON_DOUBT * max(abs(self.heading_rate) * age, self._commanded_turn)
        c, s = math.cos(self.heading), math.sin(self.heading)
        return (
            px[X] + way * way * c * c,
            px[Y] + way * way * c * s,
            px[HEADING],
            py[Y] + way * way * s * s,
            py[HEADING],
            pt[HEADING] + turn * turn,
        )

    @property
    def sigma(self) -> float:
        """Standard deviation of the position along its worst axis (m), as of the last `propagate` or correction."""
        return math.hypot(self._covariance.sigma, self._suspected_way)

    @property
    def sigmas(self) -> tuple[float, float, float]:
        """Standard deviations of x, y (m) and heading (rad), as of the last `propagate` or correction."""
        return self._covariance.sigmas

    def drive(self, left: float, right: float, seconds: float, now_ns: int) -> None:
        """Move the estimate by the travel (m) of the left and right wheels over ``seconds`` up to ``now_ns``."""
        scale, rolled = 1.0 + self.scale, abs(left) + abs(right)
        left, right = left * scale, right * scale
        if now_ns <= self._rate_until_ns:
            turn = self._rate * seconds
            turned = turn * self.track
            self._learn_track(left, right, turn)
            left, right = self.without_slip(left, right, turned, seconds)
            turn_variance = RATE_VARIANCE * seconds
        else:
            turn = (right - left) / self.track
            self._motion.turned_by_wheels += abs(turn)
            turn_variance = UNMEASURED_SLIP * 0.5 * rolled
        self._go(0.5 * (left + right), turn, 0.25 * self._errors.growth * rolled, turn_variance)
        self._passed(0.5 * (left + right), turn, seconds, now_ns)

    def drive_by_one(self, travel: float, is_left: bool, seconds: float, now_ns: int) -> None:
        """Move the estimate by the travel (m) of one side alone: the other's counts are not to be had, or not believed.

        What the other side did, the sensor's turn rate tells. Without one it may have stood or kept pace: the heading
        is as unsure as that.
        """
        travel *= 1.0 + self.scale
        if now_ns <= self._rate_until_ns:
            turn, turn_variance = self._rate * seconds, RATE_VARIANCE * seconds
        else:
            turn, turn_variance = 0.0, (travel / self.track) ** 2
        way = travel + (0.5 if is_left else -0.5) * turn * self.track
        self._go(way, turn, ONE_SIDE_GROWTH * abs(travel), turn_variance)
        self._passed(way, turn, seconds, now_ns)

    def go(self, way: float, turn: float, turn_variance: float, seconds: float, now_ns: int) -> None:
        """Move the estimate by what no wheels told: a way (m) and a change of heading (rad) over ``seconds``.

        ``turn_variance`` (rad^2) is that of the change of heading; the way's grows as the errors at the start say.
        """
        way *= 1.0 + self.scale
        self._go(way, turn, 0.5 * self._errors.growth * abs(way), turn_variance)
        self._passed(way, turn, seconds, now_ns)

    def _passed(self, way: float, turn: float, seconds: float, now_ns: int) -> None:
        """Note that the estimate has been moved (m, rad) up to now."""
        self.speed, self.heading_rate = way / seconds, turn / seconds
        self._motion.seconds += seconds
        self._as_of_ns, self._commanded_way, self._commanded_turn = now_ns, 0.0, 0.0
        self._remember(now_ns)

    def suppose(self, speed: float, turn_rate: float, seconds: float) -> None:
        """Note what the wheels are told (m/s, rad/s) for a time: until counts come, nobody knows what came of it."""
        self._commanded_way += abs(speed) * seconds
        self._commanded_turn += abs(turn_rate) * seconds

    def suspect(self, way: float, turn: float) -> None:
        """Note how far (m, rad) the robot may have gone otherwise than it was told, which is not decided yet."""
        self._suspected_way, self._suspected_turn = way, turn

    def turned_unseen(self, turn: float) -> None:
        """Make good a turn (rad) that a heading sensor kept to itself; half of it remains unsure."""
        self.propagate()
        self.heading = wrap(self.heading + turn)
        self._covariance.rows[HEADING][HEADING] += (0.5 * turn) ** 2

    def rate_at(self, now_ns: int) -> float:
        """Return the turn rate (rad/s) by which the estimate turns now; 0 where no recent one is known."""
        return self._rate if now_ns <= self._rate_until_ns else 0.0

    def _go(self, way: float, turn: float, way_variance: float, turn_variance: float) -> None:
        motion, middle = self._motion, self.heading + 0.5 * turn
        if way or way_variance:
            c, s = math.cos(middle), math.sin(middle)
            dx, dy = way * c, way * s
            self.x += dx
            self.y += dy
            motion.x += dx
            motion.y += dy
            gone = abs(way)
            motion.path += gone
            self.travelled += gone
            motion.add_noise(way_variance, c, s)
        motion.turning_noise += turn_variance
        self.heading = wrap(self.heading + turn)

    def _learn_track(self, left: float, right: float, turn: float) -> None:
        """Learn how wide the base turns from a turn (rad) that is measured and the travel (m) of both sides in it."""
        if abs(self._rate) > LEARN_RATE and 0.4 < (right - left) / (turn * self.track) < 2.5:
            self.track += TRACK_GAIN * ((right - left) / turn - self.track)
            self._learned += abs(turn)

    def without_slip(self, left: float, right: float, turned: float, seconds: float) -> tuple[float, float]:
        """Return the travel (m) of both sides, the slipping one's replaced by what the turn rate leaves of it.

        ``turned`` is the difference between both sides (m) that the turn rate tells.

        A driven wheel that slips turns farther than the ground goes by, so the side to doubt is the one that is ahead.
        """
        excess = right - left - turned
        if abs(excess) <= self.track * SLIP_RATE * seconds + SLIP_SHARE * abs(turned):
            return left, right
        self.slips += 1
        doubt = SLIP_DOUBT * 0.5 * excess
        self._motion.add_noise(doubt * doubt, math.cos(self.heading), math.sin(self.heading))
        if (excess > 0.0) == (left + right >= 0.0):
            return left, left + turned
        return right - turned, right

    def propagate(self) -> None:
        """Bring the covariance up to the mean."""
        motion = self._motion
        if motion.seconds:
            self._motion = Motion()
            self.place_bias *= self._covariance.grow(motion, self._turn_sigma(motion))

    def _turn_sigma(self, motion: Motion) -> float:
        if not motion.turned_by_wheels:
            return 0.0
        guess = (TURN_SCALE_GUESSED - TURN_SCALE_SIGMA) * math.exp(-self._learned / TURN_TO_LEARN)
        return (TURN_SCALE_SIGMA + guess) * motion.turned_by_wheels

    def lost(self, metres: float) -> None:
        """Widen the covariance by travel that was not measured."""
        self.propagate()
        rows = self._covariance.rows
        rows[X][X] += metres * metres
        rows[Y][Y] += metres * metres
        rows[HEADING][HEADING] += (metres / self.track) ** 2

    def lost_heading(self, angle: float) -> None:
        """Widen the covariance by a turn (rad) that was not measured, or told wrongly."""
        self.propagate()
        self._covariance.rows[HEADING][HEADING] += angle * angle

    def _remember(self, now_ns: int) -> None:
        """Keep the present pose, so that readings that come late can be held against the pose of their time."""
        history = self._history
        history.append((now_ns, self.x, self.y, self.heading))
        while now_ns - history[0][0] > HISTORY_NS:
            history.popleft()

    def at(self, taken_ns: int) -> Pose:
        """Return the pose of a time: between two remembered ones by proportion, carried on after the last."""
        later = None
        for entry in reversed(self._history):
            if entry[0] <= taken_ns:
                return self.pose_at(taken_ns) if later is None else _between(entry, later, taken_ns)
            later = entry
        return self.pose if later is None else Pose(*later[1:])

    def see_heading(self, angle: float, rate: float | None, taken_ns: int) -> bool:
        """Correct by a heading reading (rad, rad/s) of its time; return False when the gate refuses the angle."""
        if rate is not None:
            self.see_rate(rate, taken_ns)
        if taken_ns < self._next_heading_ns:
            return True
        self._next_heading_ns = taken_ns + HEADING_EVERY_NS
        innovation = wrap(angle - self.at(taken_ns).heading - self.place_bias - self.drift)
        if self.correct(((HEADING, 1.0), (PLACE_BIAS, 1.0), (DRIFT, 1.0)), innovation, self._errors.heading_noise**2):
            self.refused_in_row = 0
            return True
        self.refused += 1
        self.refused_in_row += 1
        if self.refused_in_row >= REFUSALS_BEFORE_DOUBT:
            self._covariance.rows[HEADING][HEADING] *= 4.0
        return False

    def see_rate(self, rate: float, taken_ns: int) -> None:
        """Turn by a new rate from now on; what the old one missed while it was held is made good by the trapezium."""
        held_ns = taken_ns + RATE_LASTS_NS - self._rate_until_ns
        if 0 < held_ns < RATE_LASTS_NS:
            self.heading = wrap(self.heading + 0.5 * (rate - self._rate) * held_ns * 1e-9)
        self._rate, self._rate_until_ns = rate, taken_ns + RATE_LASTS_NS

    def correct(self, slopes: Sequence[tuple[int, float]], innovation: float, variance: float) -> bool:
        """Correct by one scalar measurement (`Covariance.correct`); return False when the gate refuses it."""
        self.propagate()
        gain = self._covariance.correct(slopes, innovation, variance)
        if gain is None:
            return False
        self.x += gain[X] * innovation
        self.y += gain[Y] * innovation
        self.heading = wrap(self.heading + gain[HEADING] * innovation)
        self.place_bias += gain[PLACE_BIAS] * innovation
        self.drift += gain[DRIFT] * innovation
        self.scale += gain[SCALE] * innovation
        return True


def _between(early: tuple[int, float, float, float], late: tuple[int, float, float, float], taken_ns: int) -> Pose:
    share = (taken_ns - early[0]) / (late[0] - early[0])
    return Pose(
        early[1] + share * (late[1] - early[1]),
        early[2] + share * (late[2] - early[2]),
        wrap(early[3] + share * wrap(late[3] - early[3])),
    )
