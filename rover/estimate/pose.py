"""The pose filter: position and heading from wheel travel and turn rate, corrected by whatever tells of them.

An extended Kalman filter with nine states: x, y, heading; the heading sensor's bias at this place, and its drift, which
is the same everywhere; the odometer's scale error, and that of turns by the wheels; the point about which the base
turns. Motion is midpoint odometry with the error growth of R. Siegwart and I. Nourbakhsh, "Introduction to Autonomous
Mobile Robots", the section on odometry: a wheel's variance grows by k for each metre it travels. Where the heading
sensor tells its turn rate, that turns the estimate instead of the wheels: a skid-steer base turns by slipping. A side
that travels more than the rate and the other side allow has slipped (`rover.estimate.slip`), and only what is left of
it counts.

How noisy what corrects it is, and how long it has been refused, is kept by source (`rover.estimate.source`). The mean
moves with each count; its covariance (`rover.estimate.covariance`) follows when it is needed.
"""

import math
from collections.abc import Sequence

from rover.estimate.covariance import (
    CHI_SQUARE_1_99,
    DRIFT,
    HEADING,
    PLACE_BIAS,
    STATES,
    TURN_SCALE,
    Covariance,
    Errors,
    Motion,
)
from rover.estimate.doubt import Doubt
from rover.estimate.history import PoseHistory
from rover.estimate.jump import turned_share
from rover.estimate.odometry import settled, settling_time
from rover.estimate.slip import SlipGate
from rover.estimate.source import Drifting, Source
from rover.estimate.turning import SCRUBS, TELLS_FOR, MeasuredTurn, TurnRates, TurnWindow
from rover.estimate.unseen import Unseen
from rover.geometry import XY, Pose
from rover.quantities import clamp, wrap

DOUBT = 2.0
"""What a source is held against that has been refused for long varies by this factor more each time: they meet."""
UNMEASURED_SLIP = 0.003
"""Growth of the heading's variance (rad^2 a metre) by slips that the wheels alone cannot tell."""
HEADING_EVERY_NS = 190_000_000
"""Angles nearer together than this are left out (their rates are not): the bias of the place is in all of them."""
SLIP_MOST = 0.6
"""Share of a side's way that a slip takes at most, as far as the filter reckons with it."""
SLIP_DOUBT = 0.4
"""Share of a slip that is not known after it was taken out."""
HEADING_SLOPES = ((HEADING, 1.0), (PLACE_BIAS, 1.0), (DRIFT, 1.0))
ONE_SIDE_GROWTH = 1e-3
"""Growth of the variance (m^2 a metre) by one side's travel alone: no slip of it is seen, and none averaged out.

A burst of slip on a smooth floor takes some 6 cm from a side, once in 8 m: 4e-4; lost counts and steady slip as much.
"""
CARRY_ON_NS = 100_000_000
"""The estimate is carried on at the last speeds for so long beyond the last counts."""
SOURCES = ("heading", "wall", "marker's distance", "marker's bearing")


class PoseFilter:
    """Estimates the pose and its covariance.

    Args:
        start: pose at the start.
        track: a first guess of the effective track (m).
        errors: how wrong things may be.
        turn_centre: a first guess of the point about which the base turns, ahead of the wheels' middle and left (m).

    Attributes:
        sources: of corrections, by name, with what each has proved to be worth.
        unseen: what the wheels were told, and may have done, that no counts tell of.
    """

    def __init__(self, start: Pose, track: float, errors: Errors, turn_centre: XY = (0.0, 0.0)) -> None:
        self.x, self.y, self.heading = start.x, start.y, wrap(start.heading)
        self.track, self.place_bias, self.drift, self.scale = track, 0.0, 0.0, 0.0
        self.turn_ahead, self.turn_left = turn_centre
        self.sources = {name: Source() for name in SOURCES}
        self._errors = errors
        self._covariance = Covariance.at_start(errors)
        self.speed = self.heading_rate = self.travelled = 0.0
        self.unseen = Unseen(errors.resolution)
        self.slips = 0
        self._slip, self._settles = SlipGate(errors.resolution), settling_time(errors.resolution)
        self._history, self._motion = PoseHistory(), Motion()
        self._rates, self._turning = TurnRates(), TurnWindow()
        self._as_of_ns, self._next_heading_ns = 0, -1
        self._rolled_unseen = 0.0
        self._drifting = Drifting(self._covariance.drift_growth)

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

    def covariance(self, now_ns: int) -> tuple[float, float, float, float, float, float]:
        """Return (xx, xy, xt, yy, yt, tt) of `pose_at`: m^2, m rad, rad^2.

        It is wider the older the last counts are: the wheels may have done what they did then, or what they were told.
        Looking changes nothing: a replay that looks more or less often goes the same way, to the last digit.
        """
        grown = self._covariance.copy()
        if self._motion.seconds:
            grown.grow(self._motion)
        age = max(0, now_ns - self._as_of_ns) * 1e-9
        way, turn = self.unseen.sigmas(self.speed * age, self.heading_rate * age)
        return grown.of_pose(self.heading, way, turn)

    @property
    def position_doubt(self) -> Doubt:
        """How unsure the position is, as of the last `propagate` or correction."""
        return self._covariance.of_position.widened(self.unseen.suspected_way)

    @property
    def sigmas(self) -> tuple[float, float, float]:
        """Standard deviations of x, y (m) and heading (rad), as of the last `propagate` or correction."""
        return self._covariance.sigmas

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
        way_variance = 0.25 * self._errors.growth * rolled
        self._go(0.5 * (left + right), turn, (way_variance, turn_variance), seconds, now_ns)

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
        self._go(way, turn, (ONE_SIDE_GROWTH * abs(travel), turn_variance), seconds, now_ns)

    def go(self, way: float, turn: float, turn_variance: float, seconds: float, now_ns: int) -> None:
        """Move the estimate by what no wheels told: a way (m) and a change of heading (rad) over ``seconds``.

        ``turn_variance`` (rad^2) is that of the change of heading; the way's grows as the errors at the start say.
        """
        way *= 1.0 + self.scale
        self._go(way, turn, (0.5 * self._errors.growth * abs(way), turn_variance), seconds, now_ns)

    @property
    def _rate_growth(self) -> float:
        """Growth of the heading's variance (rad^2 a second) by the sensor's turn rate: noise, and what it drifts."""
        return self._rates.growth + self._covariance.drift_growth

    def never_told(self, now_ns: int) -> None:
        """Move by what no counts will tell of up to a time: half of what the wheels were told, give or take as much."""
        way, turn = (0.5 * told for told in self.unseen.told(now_ns))
        self._go(way, turn, (way * way, turn * turn), max(1, now_ns - self._as_of_ns) * 1e-9, now_ns)

    def turned_unseen(self, turn: float) -> None:
        """Make good a turn (rad) that a heading sensor kept to itself; half of it remains unsure."""
        self.lost_heading(0.5 * turn)
        self.heading = wrap(self.heading + turn)

    def _go(self, way: float, turn: float, variances: tuple[float, float], seconds: float, now_ns: int) -> None:
        motion, (way_variance, turn_variance) = self._motion, variances
        if way or turn or way_variance:
            middle = self.heading + 0.5 * turn
            c, s = math.cos(middle), math.sin(middle)
            # The point about which the base turns goes along the heading; the wheels' middle goes round it besides.
            along, aside = way + turn * self.turn_left, turn * self.turn_ahead
            self.x += along * c + aside * s
            self.y += along * s - aside * c
            motion.go(way, turn, c, s)
            motion.add_noise(way_variance, c, s)
            self.travelled += abs(way)
        motion.turning_noise += turn_variance
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
            doubt = SLIP_DOUBT * 0.5 * (of_left + of_right)
            self._motion.add_noise(doubt * doubt, math.cos(self.heading), math.sin(self.heading))
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

    def see_heading(self, angle: float, rate: float | None, taken_ns: int) -> bool:
        """Correct by a heading reading (rad, rad/s) of a known time; return False when the gate refuses the angle."""
        if rate is not None:
            self.see_rate(rate, taken_ns)
        if taken_ns < self._next_heading_ns or not self.knows(taken_ns):
            return True
        self._next_heading_ns = taken_ns + HEADING_EVERY_NS
        innovation = wrap(angle - self.at(taken_ns).heading - self.place_bias - self.drift)
        passes = self.hear("heading", HEADING_SLOPES, innovation, self._errors.heading_noise**2)
        if self.sources["heading"].is_refused_often:
            self._take_jump(innovation, taken_ns)
        if self._rolled_unseen and not passes:  # where no turn rate tells, it may have been a slip
            slip = SLIP_MOST * self._rolled_unseen
            self.lost_heading(slip / self.track)
            self._motion.add_noise(0.25 * slip * slip, math.cos(self.heading), math.sin(self.heading))
        self._rolled_unseen = 0.0
        if (growth := self._drifting.growth(self.drift, taken_ns)) is not None:
            self._covariance.drift_growth = growth
        return passes

    def _take_jump(self, jump: float, taken_ns: int) -> None:
        """Share out a lasting jump of the angle (rad) between the heading and the sensor's error, here or at all."""
        share = turned_share(jump, self._errors.heading_bias, is_told=self._rates.tell(taken_ns))
        error = PLACE_BIAS if self.sources["heading"].is_refused_for_long(self.travelled) else DRIFT
        gain = [0.0] * STATES
        gain[HEADING], gain[error] = share, 1.0 - share
        self._correct(gain, jump)
        self._drifting.jump(gain[DRIFT] * jump)
        deviation, either = [0.0] * STATES, math.sqrt(share * (1.0 - share)) * jump
        deviation[HEADING], deviation[error] = either, -either
        self._covariance.add(deviation)

    def hear(
        self, name: str, slopes: Sequence[tuple[int, float]], innovation: float, variance: float, least: float = 0.0
    ) -> bool:
        """Correct by what a source tells, as far as it has proved to be right; return False when the gate refuses it.

        Args:
            name: of the source.
            slopes: the measurement's derivatives by the states it depends on, as (state, slope).
            innovation: measured less predicted.
            variance: that the source is said to have.
            least: what is measured against is itself no better known than this (variance).
        """
        self.propagate()
        source, covariance = self.sources[name], self._covariance
        shared, predicted = covariance.against(slopes)
        if source.takes(innovation, predicted, variance, least):
            variance = source.variance(variance, predicted, least)
            source.accept(self._correct(covariance.shrink(shared, predicted + variance), innovation))
            return True
        source.refuse(innovation, self.travelled)
        return False

    def doubt(self, name: str, slopes: Sequence[tuple[int, float]]) -> None:
        """Let vary more what a source of fixes was held against, once it has been refused for long and far enough."""
        if self.sources[name].is_refused_for_long(self.travelled):
            self._covariance.widen(slopes, DOUBT)

    def take_back(self, moves: Sequence[float]) -> None:
        """Take back by how much corrections that were wrong have moved each state, and be as unsure of all as that."""
        self.propagate()
        self._correct(moves, -1.0)
        self._covariance.add(moves)

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
