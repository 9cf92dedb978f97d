"""The pose filter: dead reckoning, corrected by whatever tells of the position and the heading.

An extended Kalman filter with nine states: x, y, heading; the heading sensor's bias at this place, and its drift, which
is the same everywhere; the odometer's scale error, and that of turns by the wheels; the point about which the base
turns. How they move is `rover.estimate.dead_reckoning`.

How noisy what corrects it is, and how long it has been refused, is kept by source (`rover.estimate.source`); what
contradicts it again and again, by witness (`rover.estimate.contradictions`).
"""

import math
from collections.abc import Sequence

from rover.estimate.contradictions import Contradictions, Off, Witness
from rover.estimate.covariance import DRIFT, HEADING, PLACE_BIAS, STATES, Covariance, Errors, Motion, X, Y
from rover.estimate.dead_reckoning import DeadReckoning
from rover.estimate.doubt import SURE, Doubt
from rover.estimate.jump import turned_share
from rover.estimate.source import WAY_BEFORE_DOUBT, WAY_OF_ONE, Drifting, Source
from rover.geometry import XY, Pose
from rover.quantities import wrap

DOUBT = 2.0
"""What a source is held against that has been refused for long varies by this factor more each time: they meet."""
HEADING_EVERY_NS = 190_000_000
"""Angles nearer together than this are left out (their rates are not): the bias of the place is in all of them."""
SLIP_MOST = 0.6
"""Share of a side's way that a slip takes at most, as far as the filter reckons with it."""
HERE = 0.01
"""A place as near as this (m) is one at which it stands: nobody turns towards it and drives there."""
HEADING_SLOPES = ((HEADING, 1.0), (PLACE_BIAS, 1.0), (DRIFT, 1.0))
SOURCES = ("heading", "wall", "marker's distance", "marker's bearing")


class PoseFilter(DeadReckoning):
    """Estimates the pose and its covariance; it is made as `DeadReckoning` is.

    Attributes:
        sources: of corrections, by name, with what each has proved to be worth.
        contradictions: of what tells of the position.
    """

    def __init__(self, start: Pose, track: float, errors: Errors, turn_centre: XY = (0.0, 0.0)) -> None:
        super().__init__(start, track, errors, turn_centre)
        self.sources = {name: Source() for name in SOURCES}
        self.contradictions = Contradictions()
        self._next_heading_ns = -1
        self._drifting = Drifting(self._covariance.drift_growth)

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
        xx, xy, xt, yy, yt, tt = grown.of_pose(self.heading, way, turn)
        more = self.contradictions.added_to(SURE)
        return xx + more.xx, xy + more.xy, xt, yy + more.yy, yt, tt

    def way_to(self, pose: Pose) -> Motion:
        """Return the motion if the robot turns towards a pose, drives there, and turns as it is turned."""
        motion, way, turned = Motion(), math.dist(pose[:2], (self.x, self.y)), self.heading
        if way > HERE:
            along = math.atan2(pose.y - self.y, pose.x - self.x)
            turned += wrap(along - self.heading)
            motion.turn(self.heading, turned)
            motion.go(way, 0.0, math.cos(along), math.sin(along))
            motion.rolled.add_along(0.5 * self._growth * way, math.cos(along), math.sin(along))
        motion.turn(turned, turned + wrap(pose.heading - turned))
        motion.rolled.add_all_round(self._scrub * motion.turned)
        return motion

    def after(self, motion: Motion) -> Covariance:
        """Return the covariance after a motion that is still to come."""
        covariance = self._covariance.copy()
        covariance.grow(self._motion)
        covariance.grow(motion)
        return covariance

    @property
    def position_doubt(self) -> Doubt:
        """How unsure the position is, as of the last `propagate` or correction."""
        return self.contradictions.added_to(self.believed_doubt.widened(self.unseen.suspected_way))

    @property
    def believed_doubt(self) -> Doubt:
        """How unsure the position would be, if nothing contradicted the estimate."""
        return self._covariance.of_position

    @property
    def sigmas(self) -> tuple[float, float, float]:
        """Standard deviations of x, y (m) and heading (rad), as of the last `propagate` or correction."""
        doubt = self.position_doubt
        return math.sqrt(doubt.xx), math.sqrt(doubt.yy), self._covariance.sigmas[2]

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
            self._motion.unsure.add_along(0.25 * slip * slip, math.cos(self.heading), math.sin(self.heading))
        self._rolled_unseen = 0.0
        if (growth := self._drifting.growth(self.drift, taken_ns)) is not None:
            self._covariance.drift_growth = growth
        return passes

    def _take_jump(self, jump: float, taken_ns: int) -> None:
        """Share out a lasting jump of the angle (rad) between the heading and the sensor's error, here or at all."""
        share = turned_share(jump, self._errors.heading_bias, is_told=self._rates.tell(taken_ns))
        error = PLACE_BIAS if self.sources["heading"].is_refused_for_long(self.travelled, WAY_BEFORE_DOUBT) else DRIFT
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
        passes = source.takes(innovation, predicted, variance, least)
        of_place = _of_place(slopes)
        if any(of_place) and not source.is_off:
            self._motion_noise.learn(of_place, innovation, predicted, variance * source.factor + least)
        if passes:
            variance = source.variance(variance, predicted, least)
            gain = covariance.shrink(shared, predicted + variance)
            self._motion_noise.correct(of_place, (gain[X], gain[Y]))
            source.accept(self._correct(gain, innovation))
            return True
        source.refuse(innovation, self.travelled)
        return False

    def sigma_of(self, slopes: Sequence[tuple[int, float]]) -> float:
        """Return the standard deviation of what is predicted for a measurement with these slopes."""
        self.propagate()
        return math.sqrt(max(0.0, self._covariance.against(slopes)[1]))

    def witness(self, witness: Witness, off: Off) -> None:
        """Have known what something tells of the position; where that settles what others say, they begin anew."""
        if self.contradictions.take(witness, off):
            for name in SOURCES[1:]:
                self.sources[name].begin()

    def doubt(self, name: str, slopes: Sequence[tuple[int, float]]) -> None:
        """Let vary more what a source of fixes was held against, once it has been refused for long and far enough."""
        way = WAY_BEFORE_DOUBT if self.contradictions.are_of_several else WAY_OF_ONE
        if self.sources[name].is_refused_for_long(self.travelled, way):
            self._covariance.widen(slopes, DOUBT)
            self.sources[name].doubt_prediction()

    def take_back(self, moves: Sequence[float]) -> None:
        """Take back by how much corrections that were wrong have moved each state, and be as unsure of all as that."""
        self.propagate()
        self._correct(moves, -1.0)
        self._covariance.add(moves)


def _of_place(slopes: Sequence[tuple[int, float]]) -> XY:
    """Return a measurement's slopes by x and y."""
    by_state = dict(slopes)
    return by_state.get(X, 0.0), by_state.get(Y, 0.0)
