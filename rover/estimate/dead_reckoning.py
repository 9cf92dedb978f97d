"""Dead reckoning: the pose from wheel travel and turn rate, and how unsure that is; a plain correction of both.

Motion is midpoint odometry with the error growth of R. Siegwart and I. Nourbakhsh, "Introduction to Autonomous Mobile
Robots", the section on odometry: a wheel's variance grows by k for each metre it travels. Where the heading sensor
tells its turn rate, that turns the estimate instead of the wheels: a skid-steer base turns by slipping. A side that
travels more than the rate and the other side allow has slipped (`rover.estimate.slip`), and only what is left of it
counts.

The mean moves with each count; its covariance (`rover.estimate.covariance`) follows when it is needed.
"""

import math
from collections.abc import Sequence
from typing import NamedTuple

from rover.estimate.covariance import CHI_SQUARE_1_99, TURN_SCALE, Covariance, Errors, Motion
from rover.estimate.history import PoseHistory
from rover.estimate.motion_noise import MotionNoise
from rover.estimate.odometry import settled, settling_time
from rover.estimate.slip import SlipGate
from rover.estimate.turning import SCRUBS, TELLS_FOR, MeasuredTurn, TurnRates, TurnWindow
from rover.estimate.unseen import Unseen
from rover.geometry import XY, Pose
from rover.quantities import clamp, wrap

UNMEASURED_SLIP = 0.003
"""Growth of the heading's variance (rad^2 a metre) by slips that the wheels alone cannot tell."""
SLIP_DOUBT, SLIPS_ALIKE = 0.4, 2.0
"""Share of a slip that is not known after it was taken out; on such a way (m) it is the same of all of them, as it is
where one side's counts tell too much."""
ONE_SIDE_GROWTH = 1e-3
"""Growth of the variance (m^2 a metre) by one side's travel alone: no slip of it is seen, and none averaged out.

A burst of slip on a smooth floor takes some 6 cm from a side, once in 8 m: 4e-4; lost counts and steady slip as much.
"""
CARRY_ON_NS = 100_000_000
"""The estimate is carried on at the last speeds for so long beyond the last counts."""


class Noise(NamedTuple):
    """Variances of a turn (rad^2) and of a way (m^2): of wheels that roll, and of what else is not known of it."""

    turn: float
    way: float = 0.0
    rolled: float = 0.0


class DeadReckoning:
    """The pose, the sensors' errors with it, and the covariance of all.

    Args:
        start: pose at the start.
        track: a first guess of the effective track (m).
        errors: how wrong things may be.
        turn_centre: a first guess of the point about which the base turns, ahead of the wheels' middle and left (m).

    Attributes:
        unseen: what the wheels were told, and may have done, that no counts tell of.
    """

    def __init__(self, start: Pose, track: float, errors: Errors, turn_centre: XY) -> None:
        self.x, self.y, self.heading = start.x, start.y, wrap(start.heading)
        self.track, self.place_bias, self.drift, self.scale = track, 0.0, 0.0, 0.0
        self.turn_ahead, self.turn_left = turn_centre
        self.speed = self.heading_rate = self.travelled = 0.0
        self.unseen, self.slips = Unseen(errors.resolution), 0
        self._errors = errors
        self._covariance = Covariance.at_start(errors)
        self._motion_noise = MotionNoise()
        self._slip, self._settles = SlipGate(errors.resolution), settling_time(errors.resolution)
        self._history, self._motion = PoseHistory(), Motion()
        self._rates, self._turning = TurnRates(), TurnWindow()
        self._as_of_ns, self._rolled_unseen = 0, 0.0
        self._slip_doubt = self._slipped_at_m = 0.0

    @property
    def pose(self) -> Pose:
        """The estimate as of the last counts."""
        return Pose(self.x, self.y, self.heading)

    def pose_at(self, now_ns: int) -> Pose:
        """Return the estimate carried on to a time at the last speeds: counts are late by a few milliseconds."""
        age = clamp(now_ns - self._as_of_ns, 0, CARRY_ON_NS) * 1e-9
        turn, way = self.heading_rate * age, self.speed * age
        middle = self.heading + 0.5 * turn
        return Pose(self.x + way * math.cos(middle), self.y + way * math.sin(middle), wrap(self.heading + turn))

    def drive(self, left: float, right: float, seconds: float, now_ns: int) -> None:
        """Move the estimate by the travel (m) of the left and right wheels over ``seconds`` up to ``now_ns``."""
        scale, rolled = 1.0 + self.scale, abs(left) + abs(right)
        if rolled or self.unseen.is_commanded:
            self._rates.moved_ns = now_ns
        left, right = left * scale, right * scale
        if seconds > TELLS_FOR:
            self.lost(abs(0.25 * (left + right) * (right - left) / self.track))  # who knows when on the way it turned
        if self._rates.tell(now_ns, seconds):
            turn = self._rates.turn(now_ns, seconds)
            left, right = self.without_slip(left, right, turn * self.track, seconds)
            if (measured := self._turning.add(turn, right - left, seconds)) is not None:
                self._learn_track(measured)
            turn_variance = self._rate_growth * seconds
        else:
            turn = (right - left) / self.track
            self._motion.turned_by_wheels += turn
            turn_variance = UNMEASURED_SLIP * 0.5 * rolled
            self._rolled_unseen += 0.5 * rolled
        way_variance = 0.25 * self._growth * rolled
        self._go(0.5 * (left + right), turn, Noise(turn_variance, rolled=way_variance), seconds, now_ns)

    def drive_by_one(self, travel: float, is_left: bool, seconds: float, now_ns: int) -> None:
        """Move the estimate by the travel (m) of one side alone: the other's counts are not to be had, or not believed.

        What the other side did, the sensor's turn rate tells. Without one it may have stood or kept pace: the heading
        is as unsure as that.
        """
        travel *= 1.0 + self.scale
        if self._rates.tell(now_ns, seconds):
            turn, turn_variance = self._rates.turn(now_ns, seconds), self._rate_growth * seconds
        else:
            turn, turn_variance = 0.0, (travel / self.track) ** 2
        way = travel + (0.5 if is_left else -0.5) * turn * self.track
        self._go(way, turn, Noise(turn_variance, ONE_SIDE_GROWTH * abs(travel)), seconds, now_ns)

    def go(self, way: float, turn: float, turn_variance: float, seconds: float, now_ns: int) -> None:
        """Move the estimate by what no wheels told: a way (m) and a change of heading (rad) over ``seconds``.

        ``turn_variance`` (rad^2) is that of the change of heading; the way's grows as the errors at the start say.
        """
        way *= 1.0 + self.scale
        self._go(way, turn, Noise(turn_variance, rolled=0.5 * self._growth * abs(way)), seconds, now_ns)

    @property
    def _growth(self) -> float:
        """Metres of variance for each metre that a wheel travels, as they are found to be."""
        return self._motion_noise.factor * self._errors.growth

    @property
    def _scrub(self) -> float:
        """Variance (m^2) of the position, in all directions, by a turn of a radian, as it is found to be."""
        return self._motion_noise.factor * self._errors.scrub**2

    @property
    def _rate_growth(self) -> float:
        """Growth of the heading's variance (rad^2 a second) by the sensor's turn rate: noise, and what it drifts."""
        return self._rates.growth + self._covariance.drift_growth

    def never_told(self, now_ns: int) -> None:
        """Move by what no counts will tell of up to a time: half of what the wheels were told, give or take as much."""
        way, turn = (0.5 * told for told in self.unseen.told(now_ns))
        self._go(way, turn, Noise(turn * turn, way * way), max(1, now_ns - self._as_of_ns) * 1e-9, now_ns)

    def turned_unseen(self, turn: float) -> None:
        """Make good a turn (rad) that a heading sensor kept to itself; half of it remains unsure."""
        self.lost_heading(0.5 * turn)
        self.heading = wrap(self.heading + turn)

    def _go(self, way: float, turn: float, noise: Noise, seconds: float, now_ns: int) -> None:
        motion = self._motion
        if way or turn or noise.way or noise.rolled:
            middle = self.heading + 0.5 * turn
            c, s = math.cos(middle), math.sin(middle)
            # The point about which the base turns goes along the heading; the wheels' middle goes round it besides.
            along, aside = way + turn * self.turn_left, turn * self.turn_ahead
            self.x += along * c + aside * s
            self.y += along * s - aside * c
            motion.go(way, turn, c, s)
            motion.unsure.add_along(noise.way, c, s)
            motion.rolled.add_along(noise.rolled, c, s)
            motion.rolled.add_all_round(self._scrub * abs(turn))
            self.travelled += abs(way)
        motion.turning_noise += noise.turn
        self.heading = wrap(self.heading + turn)
        if seconds < self._settles:
            by_counts = 0.0 if self._rates.tell(now_ns) else self._settles
            self.speed = settled(self.speed, way, seconds, self._settles)
            self.heading_rate = settled(self.heading_rate, turn, seconds, by_counts)
        else:
            self.speed, self.heading_rate = way / seconds, turn / seconds
        motion.seconds += seconds
        self._as_of_ns = now_ns
        self.unseen.count(now_ns)
        self._history.append(now_ns, self.x, self.y, self.heading)

    def without_slip(self, left: float, right: float, turned: float, seconds: float) -> tuple[float, float]:
        """Return the travel (m) of both sides without what they have slipped.

        ``turned`` is the difference between both sides (m) that the turn rate tells.
        """
        of_left, of_right = self._slip.slipped(left, right, turned, self.track * seconds)
        if of_left or of_right:
            self.slips += 1
            before = self._slip_doubt * math.exp((self._slipped_at_m - self.travelled) / SLIPS_ALIKE)
            self._slip_doubt = before + SLIP_DOUBT * 0.5 * abs(of_left + of_right)
            self._slipped_at_m = self.travelled
            variance = self._slip_doubt * self._slip_doubt - before * before
            self._motion.unsure.add_along(variance, math.cos(self.heading), math.sin(self.heading))
        return left - of_left, right - of_right

    def _learn_track(self, measured: MeasuredTurn) -> None:
        """Learn how wide the base turns: what the turn is by the wheels, held against the turn itself."""
        turn, difference, seconds = measured
        by_wheels, coarse = difference / self.track, self._errors.resolution / self.track
        variance = (SCRUBS * turn) ** 2 + self._rate_growth * seconds + coarse * coarse / 3.0
        self.correct(((TURN_SCALE, by_wheels),), turn - by_wheels, variance)

    def propagate(self) -> None:
        """Bring the covariance up to the mean."""
        motion = self._motion
        if motion.seconds:
            self._motion = Motion()
            self._motion_noise.grow(motion)
            kept = self._covariance.grow(motion)
            self.place_bias *= kept
            self._covariance.learn_bias(self.place_bias, kept)

    def lost(self, metres: float) -> None:
        """Widen the covariance by travel that was not measured."""
        self.propagate()
        self._covariance.lose(metres, metres / self.track)

    def lost_heading(self, angle: float) -> None:
        """Widen the covariance by a turn (rad) that was not measured, or told wrongly."""
        self.propagate()
        self._covariance.lose(0.0, angle)

    def at(self, taken_ns: int) -> Pose:
        """Return the pose of a time, up to one and a half seconds ago; after the last counts it is carried on."""
        return self._history.at(taken_ns) or self.pose_at(taken_ns)

    def knows(self, taken_ns: int) -> bool:
        """Tell whether it is known where the robot was at a time: not where it moved, and counts do not say when."""
        if self.unseen.is_commanded and taken_ns - self._as_of_ns > CARRY_ON_NS:
            return False
        return not self._history.is_in_gap(taken_ns)

    def see_rate(self, rate: float, taken_ns: int) -> None:
        """Turn by a new rate from now on; what the old one missed while it was held is made good."""
        self.heading = wrap(self.heading + self._rates.take(rate, taken_ns, self._as_of_ns))

    def correct(self, slopes: Sequence[tuple[int, float]], innovation: float, variance: float) -> bool:
        """Correct by one scalar measurement, as `hear` does, but as it is; return False when the gate refuses it."""
        self.propagate()
        shared, predicted = self._covariance.against(slopes)
        if innovation * innovation > CHI_SQUARE_1_99 * (predicted + variance):
            return False
        self._correct(self._covariance.shrink(shared, predicted + variance), innovation)
        return True

    def _correct(self, gain: Sequence[float], innovation: float) -> list[float]:
        """Correct each state by its gain times the innovation, and return by how much."""
        moves = [one * innovation for one in gain]
        x, y, turn, place_bias, drift, scale, turn_scale, turn_ahead, turn_left = moves
        self._history.correct(x, y, turn)
        self.x, self.y, self.heading = self.x + x, self.y + y, wrap(self.heading + turn)
        self.place_bias += place_bias
        self.drift += drift
        self.scale += scale
        self.track /= 1.0 + turn_scale
        self.turn_ahead += turn_ahead
        self.turn_left += turn_left
        return moves
