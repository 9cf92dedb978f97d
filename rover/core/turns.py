"""The turn that the heading tells, held against the turn that the counts of both sides make of it.

A skid-steer base slips in every turn: it turns as if its track were one to two times the geometric one, so what the
counts tell of a turn is an interval. What it leaves unexplained is told apart by its form: a heading that stays while
the counts turn is frozen, one that turns against them is reversed, and what is left is slip until it is too much.
"""

import math
from typing import NamedTuple

from rover.core.angle_noise import AngleNoise
from rover.core.lag import Lag
from rover.core.turn_factor import TurnFactor
from rover.devices.readings import HeadingValue
from rover.quantities import wrap

LEAST_FACTOR, MOST_FACTOR = 1.0, 2.0
"""The base turns as if its track were so many times the geometric one (common practice, no source)."""
FROZEN = math.radians(20.0)
"""Turn by the counts, on the widest track, through which no heading stays..."""
FROZEN_EQUAL = math.radians(12.0)
"""... and where all reports are equal to the last digit, ``EQUAL`` of them or more."""
EQUAL = 4
STAYS = math.radians(3.0)
"""A heading that stays moves by no more than this, and three times its noise."""
BURST_SHARE, BURST_WAY, STEADY_SHARE = 0.6, 0.19, 0.05
"""On a straight whose heading is held, slip looks as if the counts turned and the heading stayed: a burst of it takes
such a share of the way, up to so much (m), and steady slip another (the worst of the bench's ranges)."""
REVERSED = math.radians(15.0)
BOTH_WAYS = math.radians(90.0)
AGREES = math.radians(5.0)
AGREED_TURN = math.radians(10.0)
"""Where a turn of this size is explained to within ``AGREES``, all before it is settled."""
SETTLED_S, SETTLED_WAY = 10.0, 2.0
"""So is what is older than this (s), or lies farther back (m): drift and iron are in it."""
GAP_S = 0.5
"""After so long without a heading all begins anew."""
TURNS_FAST = math.radians(20.0)
"""Turning faster than this (rad/s) tells how much wider than its wheels the base turns; slower, of angles' noise."""
WANDERS = math.radians(25.0)
"""Angle and rate drift apart by no more than this (rad; unknown iron), known iron twice and three sigmas ..."""
DRIFT_S = 60.0
"""... in twice so long (s)."""
RATE_AT_REST, RESTS = math.radians(0.3), 60
"""A rate that tells more than this (rad/s) while the wheels stand, in the mean of so many, is the one that drifts."""
STAYS_BEHIND = 0.3
"""An angle that turns by less than this share of what rate and counts tell stays; a robot that is turned has none."""
APART, SCATTERS, APART_S = math.radians(8.0), 8.0, 0.6
"""Angle and rate differ by more than this (rad) and three sigmas, and by so many of those found, within so long (s)."""


class Verdict(NamedTuple):
    """What is wrong: ``part`` is ``angle``, ``rate`` or ``both`` of a heading, or '' where nobody is to blame."""

    part: str
    why: str


class _Segment:
    """What was told since all was settled last.

    Attributes:
        by_counts: turn (rad) by the counts of wheels that do not slip.
        told: turn (rad) by the heading; ``low`` and ``high`` how far it went to either side.
        way: m; ``seconds``.
    """

    def __init__(self) -> None:
        self.by_counts = self.told = self.low = self.high = self.way = self.seconds = 0.0

    def tell(self, turned: float, seconds: float) -> None:
        self.told += turned
        self.seconds += seconds
        self.low, self.high = min(self.low, self.told), max(self.high, self.told)

    @property
    def least(self) -> float:
        """Turn by the counts on the widest track (rad), with its sign."""
        return self.by_counts / MOST_FACTOR

    def least_despite_slip(self, track: float) -> float:
        """Return how far (rad, at least 0) the base turns at least by the counts, whatever slip there was."""
        slip = min(BURST_SHARE * self.way, BURST_WAY) + STEADY_SHARE * self.way
        return max(0.0, abs(self.by_counts) - slip / track) / MOST_FACTOR

    @property
    def unexplained(self) -> float:
        """How far (rad) what is told lies outside what the counts can mean; positive where it is farther left."""
        one, other = self.by_counts / MOST_FACTOR, self.by_counts / LEAST_FACTOR
        least, most = (one, other) if one < other else (other, one)
        return self.told - most if self.told > most else min(0.0, self.told - least)

    def stays(self, noise: float) -> bool:
        return self.high - self.low <= STAYS + 3.0 * noise

    def is_settled(self, noise: float) -> bool:
        agrees = abs(self.unexplained) <= AGREES + 2.0 * noise
        return (agrees and abs(self.least) > AGREED_TURN) or self.seconds > SETTLED_S or self.way > SETTLED_WAY


class _Equal:
    """Reports that are equal to the last digit, and the turn (rad) by the counts since the first of them."""

    def __init__(self) -> None:
        self.by_counts = 0.0
        self._reports = 0

    def tell(self) -> Verdict | None:
        """Take in one of them, and return that the sensor stays the same, if it does."""
        self._reports += 1
        if self._reports <= EQUAL or abs(self.by_counts) / MOST_FACTOR <= FROZEN_EQUAL:
            return None
        return Verdict("both", f"says the same {self._reports} times while the robot turns")


class _Drift:
    """How far angle and rate drift apart over one to two minutes, and what the rate tells at rest.

    Args:
        wander: how far (rad) healthy ones may.
    """

    def __init__(self, wander: float) -> None:
        self._wander = wander
        self._apart = self._seconds = 0.0
        self._anchors = [0.0, 0.0]
        self._at_rest, self._rests = 0.0, 0

    def tell(self, apart: float, rate: float, seconds: float, *, rests: bool) -> Verdict | None:
        """Take in by how much more the angle turned than the rate (rad), and return which of them drifts."""
        self._apart += apart
        self._seconds += seconds
        if rests:
            self._at_rest += rate
            self._rests += 1
        if self._seconds > DRIFT_S:
            self._seconds = 0.0
            self._anchors = [self._anchors[1], self._apart]
        drift = max((self._apart - anchor for anchor in self._anchors), key=abs)
        if abs(drift) <= self._wander or self._rests < RESTS:
            return None
        by = f"angle and turn rate have drifted apart by {math.degrees(drift):.0f} deg"
        if abs(self._at_rest) > RATE_AT_REST * self._rests:
            return Verdict("rate", f"turns at rest: {by}")
        return Verdict("", f"of the heading, {by}: nobody knows since when")


class Turns:
    """Holds a heading's angle and rate against the counts, and against each other.

    Args:
        track: geometric (m).
        noise: standard deviation of an angle (rad), as it is stated.
        iron: how wrong the place may make it (rad, standard deviation).

    Attributes:
        believes_counts: the counts are held against it; else only its angle and its rate against each other.
        turned: by the heading since the last look at it (rad): by its rate, or by its angle where it has none; None
            where it has told nothing since.
        lag: how late it comes.
        is_settled: counts and heading have agreed since the last look at it.
    """

    def __init__(self, track: float, noise: float, iron: float) -> None:
        self._track, self._scatter = track, AngleNoise(noise)
        self._drift = _Drift(WANDERS + 2.0 * iron + 3.0 * noise)
        self.believes_counts = True
        self.lag = Lag()
        self._factor = TurnFactor()
        self._by_counts_since = self._way_since = 0.0
        self._last: HeadingValue | None = None
        self._last_ns = 0
        self.begin()

    def begin(self) -> None:
        """Begin anew."""
        self._angle, self._rate = _Segment(), _Segment()
        self._equal = _Equal()
        self.lag.begin()
        self._part()
        self.turned: float | None = None
        self.is_settled = True

    @property
    def noise(self) -> float:
        """Of a turn that is told (rad)."""
        return 0.0 if self.has_rate else self._noise

    def count(self, left: float, right: float) -> None:
        """Take in the ways (m) of both sides."""
        turn, way = (right - left) / self._track, 0.5 * abs(left + right)
        self._angle.by_counts += turn
        self._rate.by_counts += turn
        self._angle.way += way
        self._rate.way += way
        self._equal.by_counts += turn
        self._by_counts_meanwhile += turn
        self._by_counts_since += turn
        self._way_since += way

    def tell(self, value: HeadingValue, taken_ns: int) -> Verdict | None:
        """Take in a heading, and return what is wrong with it, if that can be told now."""
        last, seconds = self._last, (taken_ns - self._last_ns) * 1e-9
        if last is not None and seconds <= 0.0:
            return None  # of the same moment, as a line's clock may have it
        by_counts, way = self._by_counts_since, self._way_since
        self._by_counts_since = self._way_since = 0.0
        self._last, self._last_ns = value, taken_ns
        if last is None or seconds > GAP_S:
            self.begin()
            return None
        by_angle = wrap(value.angle - last.angle)
        self._angle.tell(by_angle, seconds)
        by_rate = None
        if value.rate is not None and last.rate is not None:
            by_rate = 0.5 * (value.rate + last.rate) * seconds
            self._rate.tell(by_rate, seconds)
        told = by_angle if by_rate is None else by_rate
        self.turned = told + (self.turned or 0.0)
        if max(abs(by_counts), abs(told)) > TURNS_FAST * seconds:
            self._factor.turn(by_counts, told)
        elif by_rate is not None:
            self._scatter.tell(by_angle - by_rate)
        if value[:2] != last[:2]:
            self._equal = _Equal()
        verdict = self._equal.tell()
        if self.believes_counts and (late := self.lag.tell(by_counts, told, way, seconds, self.noise)):
            verdict = Verdict("both", f"comes {late:.2g} s late")
        if self.believes_counts:
            verdict = verdict or self._against_counts(self._angle, self._noise, "angle")
        if by_rate is not None:
            if self.believes_counts:
                verdict = verdict or self._against_counts(self._rate, 0.0, "rate")
            verdict = verdict or self._against_each_other(by_angle, by_rate, seconds)
            drift = self._drift.tell(by_angle - by_rate, by_rate / seconds, seconds, rests=by_counts == way == 0.0)
            verdict = verdict or drift
        elif verdict is not None and verdict.part == "angle":
            verdict = verdict._replace(part="both")
        if self._angle.is_settled(self._noise):
            self._angle = _Segment()
            self.is_settled = True
        if self._rate.is_settled(0.0):
            self._rate = _Segment()
        return verdict

    @property
    def has_rate(self) -> bool:
        """It tells its turn rate."""
        return self._last is not None and self._last.rate is not None

    def unseen(self, track: float) -> float:
        """Return the turn (rad) by the counts, on a base that turns as wide as ``track``, that was not told."""
        segment = self._angle if self.noise else self._rate
        return segment.by_counts * self._track / track - segment.told

    @property
    def least(self) -> float:
        """Turn (rad) by the counts on the widest track since the heading last agreed with them."""
        return self._angle.least if self.noise else self._rate.least

    @property
    def factor_change(self) -> float:
        """How many times wider the base seems to turn than before: counts that are scaled make it seem so."""
        return self._factor.change

    @property
    def in_question(self) -> float:
        """Turn (rad) that may have been made and that the heading does not tell."""
        segment, noise = (self._angle, self._noise) if self.noise else (self._rate, 0.0)
        may_be_frozen = segment.least_despite_slip(self._track) > AGREES + noise and segment.stays(noise)
        return abs(segment.by_counts) / (0.5 * (LEAST_FACTOR + MOST_FACTOR)) if may_be_frozen else 0.0

    @property
    def unexplained(self) -> float:
        """Turn (rad) that the heading tells and the counts do not explain."""
        return self._angle.unexplained if self.noise else self._rate.unexplained

    @property
    def told(self) -> float:
        """Turn (rad) that the heading tells since it last agreed with the counts."""
        return self._angle.told if self.noise else self._rate.told

    @property
    def _noise(self) -> float:
        """Of an angle (rad), no less than it is stated."""
        return max(self._scatter.stated, self._scatter.sigma)

    def _against_counts(self, segment: _Segment, noise: float, part: str) -> Verdict | None:
        least, told = segment.least, segment.told
        despite_slip = segment.least_despite_slip(self._track)
        by_counts = f"the counts turn by {math.degrees(least):.0f} deg or more"
        if despite_slip > FROZEN + 3.0 * noise and segment.stays(noise):
            return Verdict(part, f"stays while {by_counts}")
        opposite = REVERSED + 3.0 * noise
        is_against = told * least < 0.0 and min(abs(least), abs(told)) > opposite
        is_far_off = abs(segment.unexplained) > BOTH_WAYS
        if is_against and (despite_slip > opposite or is_far_off):
            return Verdict(part, f"turns by {math.degrees(told):.0f} deg while {by_counts}")
        if is_far_off:
            why = f"the heading turns by {math.degrees(told):.0f} deg, the counts by {math.degrees(least):.0f} deg"
            return Verdict("", f"{why}: is a side off the ground, or was the robot turned?")
        return None

    def _against_each_other(self, by_angle: float, by_rate: float, seconds: float) -> Verdict | None:
        self._apart += by_angle - by_rate
        self._apart_rate += by_rate
        self._apart_s += seconds
        apart = f"its angle and its turn rate differ by {math.degrees(self._apart):.0f} deg"
        if abs(self._apart) > max(APART + 3.0 * self._scatter.stated, SCATTERS * self._scatter.sigma):
            rate, counted = self._apart_rate, self._by_counts_meanwhile
            angle = self._apart + rate
            low, high = sorted((counted / MOST_FACTOR, counted / LEAST_FACTOR))
            self._part()
            if self.believes_counts and low - AGREES <= angle <= high + AGREES:
                return Verdict("rate", apart)
            if self.believes_counts and low - AGREES <= rate <= high + AGREES and abs(angle) < STAYS_BEHIND * abs(rate):
                return Verdict("angle", apart)
            return Verdict("", f"of the heading, {apart}: was the robot turned?")
        if self._apart_s > APART_S:
            self._part()
        return None

    def _part(self) -> None:
        self._apart = self._apart_s = self._apart_rate = self._by_counts_meanwhile = 0.0
