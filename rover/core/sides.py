"""The counts of both sides, held against what the motors' duties should have made of them."""

import math
from typing import NamedTuple

from rover.core.scale import LEAST_SCALE, MOST_SCALE, WELL_SCALED, Due, Scale
from rover.core.turns import FACTOR_CHANGE, Turns
from rover.files.robot import Robot
from rover.motion.wheels import LAG

SURE = 1.5
"""A duty of so many dead bands turns a wheel, whatever the floor..."""
FASTER = 2.0
"""Only from so many on does it tell how fast: dead bands differ."""
DEAD_BANDS = (0.0, 1.75)
"""The true dead band may be so many times what the robot file says: some boards make up for it, and at a creep it is
most of what a duty tells."""
LEAST_DUTY = 0.1
SETTLED = 0.25
"""... once it has been on for so long (s), the same way round."""
STILL_WAY, STILL_COUNTS = 0.06, 4.0
"""A wheel that should have gone so far (m), and so many counts, and has not counted one, stands or is not counted."""
RUN_OUT, ROLL_WAY = 1.0, 0.04
"""A motor that has been given nothing for so long (s) has run out; a wheel that goes so far (m) is driven."""
AGAINST_WAY = 0.02
ONE_SIDE_TURNS = (0.4, 1.2)
"""Where counts are true, also of a side that stands, the heading turns within these shares of what they make of it."""
TURN_TO_TELL = math.radians(12.0)
"""Turn by the counts, on wheels without slip, from which a heading can contradict it; and this many sigmas more."""
NOISE_FACTOR = 6.0
TURN_SLACK = math.radians(3.0)
WEAK_TURN = math.radians(60.0)
"""Counts that are too few for their duties are believed until the heading turns farther than they by more than slip."""


MEASURES = "are counts_per_rev, wheel_diameter and top_speed right?"


class CountsVerdict(NamedTuple):
    """What is wrong: the ``side`` whose counts lie, or '' where nobody knows how far both went."""

    side: str
    why: str


class Unsure(NamedTuple):
    """What counts leave open.

    Attributes:
        way: m by which they differ from what the motors do.
        stood: both sides should have gone, and not one count has come.
    """

    way: float = 0.0
    stood: bool = False


SURE_OF_ALL = Unsure()


class Side:
    """One side.

    Attributes:
        still: way (m) that the wheels should have gone since the last count.
        held: the same with its sign, until the heading was told last.
        turned: what the heading tells (rad) since this side stands or errs; ``by_counts``, what both sides' counts do.
        sense: 1 while it is surely driven forwards, -1 backwards, else 0.
        scale: of its counts.
    """

    still: float
    held: float
    _against: float
    turned: float
    by_counts: float

    def __init__(self, robot: Robot) -> None:
        drive = robot.devices.drive
        self._top_speed, self._dead_band = drive.top_speed, drive.dead_band
        self._sure = max(SURE * drive.dead_band, LEAST_DUTY)
        self._faster = FASTER * drive.dead_band
        self._count = robot.body.metres_per_count
        self.scale = Scale(self._count)
        self.sense = 0
        self.begin()

    def begin(self) -> None:
        """Begin anew, at rest."""
        self._speed = self._due = self._judged = self._fast = self._steady = self._told = 0.0
        self._speeds, self._dues = [0.0, 0.0], [0.0, 0.0]
        self.scale.begin()
        self._idle = self._rolled = 0.0
        self.agree()

    def agree(self) -> None:
        """Settle it: the counts so far are true."""
        self.still = self.held = self._held = self._against = self.turned = self.by_counts = 0.0

    def drive(self, duty: float, told: float, seconds: float) -> None:
        """Work out how far a duty brings the wheels in a time (s), in which they are told to go by ``told`` (m/s)."""
        size, follows = abs(duty), min(1.0, seconds / LAG)
        self._speed += (self._goal(duty, 1.0) - self._speed) * follows
        for index, times in enumerate(DEAD_BANDS):
            self._speeds[index] += (self._goal(duty, times) - self._speeds[index]) * follows
        self._idle = self._idle + seconds if duty == 0.0 else 0.0
        if duty:
            self._rolled = 0.0
        sense = (1 if duty > 0.0 else -1) if size >= self._sure else 0
        self._steady = self._steady + seconds if sense == self.sense else 0.0
        self.sense = sense
        if sense and self._steady >= SETTLED:
            self._due += self._speed * seconds
            self._dues = [due + speed * seconds for due, speed in zip(self._dues, self._speeds, strict=True)]
            self._told += abs(told) * seconds
            self._judged += seconds
            if size >= self._faster:
                self._fast += seconds

    def _goal(self, duty: float, times: float) -> float:
        """Return the speed (m/s) that a duty leads to, with so many times the dead band of the robot file."""
        dead_band = min(times * self._dead_band, 0.9)
        share = max(0.0, abs(duty) - dead_band) / (1.0 - dead_band)
        return math.copysign(share * self._top_speed, duty)

    def count(self, way: float, by_counts: float, turned: float | None, seconds: float) -> None:
        """Hold the way (m) that was counted in ``seconds`` against what was due in them.

        ``by_counts`` is the turn that both sides' counts make of it without slip, ``turned`` what the heading tells.
        None: no heading came.
        """
        if self._idle > RUN_OUT:
            self._rolled += abs(way)
        due, is_judged, is_fast = self._due, self._judged >= 0.5 * seconds, self._fast >= 0.5 * seconds
        told, (most, least) = self._told, self._dues
        self._dues = [0.0, 0.0]
        self._due = self._judged = self._fast = self._told = 0.0
        if not is_judged:
            if way:
                self.agree()
            return
        ahead = math.copysign(way, way * due)
        if not way:
            self.still += abs(due)
            self._held += due
        elif ahead < 0.0:
            self.still, self._against = 0.0, self._against - ahead
            self.held = self._held = 0.0
        else:
            self.agree()
        if turned is not None:
            self.turned += turned
            self.held = self._held
        self.by_counts += by_counts
        if is_fast:
            self.scale.count(Due(abs(least), abs(most)), ahead, told)

    @property
    def is_well(self) -> bool:
        """Nothing speaks against it."""
        return not (self.still or self._against or self._rolled) and LEAST_SCALE <= self.scale.settled <= MOST_SCALE

    @property
    def stands(self) -> bool:
        """It should have moved by now."""
        return self.still >= max(STILL_WAY, STILL_COUNTS * self._count)

    @property
    def rolls(self) -> bool:
        """It goes on though it is given nothing."""
        return self._rolled >= max(ROLL_WAY, STILL_COUNTS * self._count)

    @property
    def is_against(self) -> bool:
        """It goes the wrong way."""
        return self._against >= max(AGAINST_WAY, STILL_COUNTS * self._count)

    @property
    def in_question(self) -> float:
        """Way (m) that may have been gone otherwise than it was counted."""
        return self.still + 2.0 * self._against


class Sides:
    """Both sides, and what is to be thought of them."""

    def __init__(self, robot: Robot) -> None:
        self._unsure, self._stood = 0.0, False
        self._track = robot.body.track
        self._left, self._right = Side(robot), Side(robot)

    def begin(self) -> None:
        """Begin anew with all that is not decided."""
        self._left.begin()
        self._right.begin()

    def mark(self) -> None:
        """Note that counts and heading agree."""
        self._left.scale.mark()
        self._right.scale.mark()

    def drive(self, duties: tuple[float, float], told: tuple[float, float], seconds: float) -> None:
        """Note what the motors are given for a time (s), and at which speeds (m/s) that is to drive the wheels."""
        self._left.drive(duties[0], told[0], seconds)
        self._right.drive(duties[1], told[1], seconds)

    def count(self, left: float, right: float, turned: float | None, seconds: float) -> None:
        """Take in the ways (m) that both counted in a time (s), and the turn (rad) that the heading told in it, None
        where it told nothing."""
        by_counts = (right - left) / self._track
        self._left.count(left, by_counts, turned, seconds)
        self._right.count(right, by_counts, turned, seconds)

    @property
    def in_question(self) -> float:
        """Way (m) that may have been gone otherwise than it was counted."""
        return max(self._left.in_question, self._right.in_question)

    def take_unsure(self) -> Unsure:
        """Return what counts have left open since the last look."""
        left, right = self._left.scale, self._right.scale
        way = self._unsure + max(left.unaccounted, right.unaccounted)
        if not way and not self._stood:
            return SURE_OF_ALL
        unsure = Unsure(way, self._stood)
        left.unaccounted = right.unaccounted = self._unsure = 0.0
        self._stood = False
        return unsure

    def concede(self) -> None:
        """Take what is in question for unsure: from now on it is decided."""
        self._unsure += self.in_question
        self._agree()

    def _agree(self) -> None:
        self._left.agree()
        self._right.agree()

    def _would_have_turned(self, noise: float) -> bool:
        """Tell whether two sides of which not one count came surely stood: driven against each other they would have
        turned the robot, and the heading, good to ``noise`` (rad), tells no such turn."""
        left, right = self._left, self._right
        least = ONE_SIDE_TURNS[0] * abs(right.held - left.held) / self._track
        return left.held * right.held < 0.0 and abs(left.turned) + NOISE_FACTOR * noise < least

    @property
    def are_acquitted(self) -> bool:
        """Since the heading agreed with them, the counts were surely what their duties make."""
        return self._left.scale.is_acquitted and self._right.scale.is_acquitted

    def blamed(self) -> CountsVerdict | None:
        """Return what is wrong with the counts by which a heading is contradicted; None if they are not to blame."""
        sides = {"left": self._left, "right": self._right}
        wrong = [name for name, side in sides.items() if side.scale.contradicts]
        if len(wrong) == 2:
            return CountsVerdict("", "neither duties nor heading agree with the counts: look after the encoders")
        return CountsVerdict(wrong[0], "counts otherwise than its motor does, and the heading too") if wrong else None

    def judge(self, turns: Turns | None) -> CountsVerdict | None:
        """Return what is wrong with the counts, if that can be told now; ``turns`` of a heading that is believed."""
        left, right = self._left, self._right
        change = 1.0 if turns is None else turns.factor_change
        if left.is_well and right.is_well and change <= FACTOR_CHANGE:
            return None
        noise = 0.0 if turns is None else turns.noise
        if left.stands and right.stands and abs(left.turned) > TURN_TO_TELL + NOISE_FACTOR * noise:
            return CountsVerdict("", "the heading turns, and neither side counts: look after the encoders")
        if left.stands and right.stands:
            self._stood = True
            if turns is not None and self._would_have_turned(noise):
                self._unsure += 0.5 * abs(left.held + right.held)
                self._agree()
            else:
                self.concede()
            return None
        if left.rolls or right.rolls:
            return CountsVerdict("", "wheels turn though their motors are given nothing: use the hard-wired stop")
        if left.is_against and right.is_against:
            return CountsVerdict(
                "", "both sides turn against their duties: is something connected the wrong way round?"
            )
        lately = min(left.scale.lately, right.scale.lately)
        if lately > WELL_SCALED[1] and max(left.scale.settled, right.scale.settled) > MOST_SCALE:
            return CountsVerdict("", f"both sides count {lately:.1f} times what their motors can do: {MEASURES}")
        if left.scale.exceeds and right.scale.exceeds and change > FACTOR_CHANGE:
            return CountsVerdict("", f"both sides count more than their motors do, as the heading says: {MEASURES}")
        if max(left.scale.settled, right.scale.settled) < LEAST_SCALE and _turns_as_if_short(turns, 0):
            return CountsVerdict(
                "", f"both sides count {lately:.1f} times what their motors do, as the heading says: {MEASURES}"
            )
        return self._judge("left", left, right, turns) or self._judge("right", right, left, turns)

    def _judge(self, name: str, side: Side, other: Side, turns: Turns | None) -> CountsVerdict | None:
        scale, outwards = side.scale.settled, -1 if name == "left" else 1
        if scale > MOST_SCALE:
            return CountsVerdict(name, f"counts {scale:.1f} times what its motor can do")
        if scale < LEAST_SCALE < other.scale.lately and _turns_as_if_short(turns, outwards * side.sense):
            return CountsVerdict(name, f"counts {scale:.1f} times what its motor does, and the heading says so too")
        if side.is_against or (side.stands and not other.stands):
            return _judge_by_heading(name, side, turns)
        return None


def _judge_by_heading(name: str, side: Side, turns: Turns | None) -> CountsVerdict | None:
    does = "counts the wrong way" if side.is_against else "counts nothing"
    if turns is None:
        return CountsVerdict("", f"the {name} side {does}, and no heading tells whether it turns")
    if max(abs(side.by_counts), abs(side.turned)) <= TURN_TO_TELL + NOISE_FACTOR * turns.noise:
        return None
    low, high = sorted(share * side.by_counts for share in ONE_SIDE_TURNS)
    if not low - TURN_SLACK < side.turned < high + TURN_SLACK:
        return CountsVerdict(name, f"{does}, and the heading turns as if it drove")
    if side.is_against:
        return CountsVerdict("", f"the {name} side turns against its duty: is something connected the wrong way round?")
    side.agree()  # it stands in truth, which is the limits' affair
    return None


def _turns_as_if_short(turns: Turns | None, sense: int) -> bool:
    """Tell whether the heading turns farther than the counts, to the left (1), right (-1) or either way (0), or the
    base as if it were much narrower than before."""
    if turns is None:
        return False
    if turns.factor_change < 1.0 / FACTOR_CHANGE:
        return True
    unexplained, told = turns.unexplained, turns.told
    return abs(unexplained) > WEAK_TURN and (unexplained * sense > 0.0 if sense else unexplained * told > 0.0)
