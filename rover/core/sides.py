"""The counts of both sides, held against what the motors' duties should have made of them."""

import math
from typing import NamedTuple

from rover.core.course import ARC, Course
from rover.core.scale import LEAST_SCALE, LINE_SCALES, MOST_SCALE, WELL_SCALED
from rover.core.side import Moved, Side
from rover.core.together import Together
from rover.core.turn_factor import FACTOR_CHANGE
from rover.core.turns import Turns
from rover.files.robot import Robot

ONE_SIDE_TURNS = (0.4, 1.2)
"""Where counts are true, also of a side that stands, the heading turns within these shares of what they make of it."""
TURN_TO_TELL = math.radians(12.0)
"""Turn by the counts, on wheels without slip, from which a heading can contradict it; and this many sigmas more."""
NOISE_FACTOR = 6.0
TURN_SLACK = math.radians(3.0)
WEAK_TURN = math.radians(60.0)
"""Counts that are too few for their duties are believed until the heading turns farther than they by more than slip."""
SHORT_TURN = math.radians(15.0)
"""So do counts that are too few for what their duties made before."""
LEAST_KNOWN, MOST_KNOWN = 0.9, 1.1
"""Counts that are beyond what is due by this share may be off, if something else tells the same."""
MEASURES = "are counts_per_rev, wheel_diameter and top_speed right?"
CHANGED = "look after the encoders, or what holds the robot back"


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


class Sides:
    """Both sides, and what is to be thought of them."""

    def __init__(self, robot: Robot) -> None:
        self._unsure, self._stood = 0.0, False
        self._track = robot.body.track
        self._course = Course(self._track, has_heading=robot.devices.heading is not None)
        self._left, self._right = Side(robot), Side(robot)
        self._together = Together(robot)
        self._was_arc = False
        self._believed = {"left": self._left, "right": self._right}

    def begin(self) -> None:
        """Begin anew with all that is not decided: it stays unsure."""
        self._unsure += self.in_question
        self._left.begin()
        self._right.begin()
        self._together.begin()

    def mark(self) -> None:
        """Note that counts and heading agree."""
        self._left.scale.mark()
        self._right.scale.mark()

    def drive(self, duties: tuple[float, float], told: tuple[float, float], seconds: float) -> None:
        """Note what the motors are given for a time (s), and at which speeds (m/s) that is to drive the wheels."""
        self._course.tell(*told)
        self._left.drive(duties[0], told[0], seconds)
        self._right.drive(duties[1], told[1], seconds)

    def count(self, left: float, right: float, turned: float | None, seconds: float) -> None:
        """Take in the ways (m) that both counted in a time (s), and the turn (rad) that the heading told in it, None
        where it told nothing."""
        course = self._course.move(left, right, turned)
        if course != ARC and self._was_arc:  # an arc that is over tells no more
            self._unsure += self._together.arcs.in_question
            self._together.end_arc()
        self._was_arc = course == ARC
        moved = Moved((right - left) / self._track, turned, course)
        of_left = self._left.count(left, moved, seconds)
        of_right = self._right.count(right, moved, seconds)
        if of_left is not None and of_right is not None and len(self._believed) == 2:
            self._together.count(course, of_left.mean(of_right))

    @property
    def undecided(self) -> float:
        """Way (m) that a side stands, or runs the other way, or lies about: till then its counts prove nothing."""
        return max(side.undecided for side in self._believed.values())

    @property
    def in_question(self) -> float:
        """Way (m) that may have been gone otherwise than it was counted."""
        of_one = max(max(side.undecided, self._odd(side)) for side in self._believed.values())
        return of_one if len(self._believed) == 1 else max(of_one, self._together.in_question)

    def _odd(self, side: Side) -> float:
        """Return the way (m) that a side may have gone otherwise than it counted, by its own line.

        While both believed sides together go as they did before, the ground has one push for the other.
        """
        return side.by_line.in_question if len(self._believed) == 1 or not self._together.are_as_due else 0.0

    def _is_amiss(self, side: Side) -> bool:
        """Tell whether a side surely counts otherwise than before by its own line, with the same reserve."""
        return side.by_line.is_amiss and self._odd(side) > 0.0

    def are_both_off(self, times: float) -> bool:
        """Tell whether duties say that both sides count otherwise than they go, as something else tells: by so many
        times."""
        return any(
            all(lately > MOST_KNOWN if times > 1.0 else lately < LEAST_KNOWN for lately in scales)
            for scales in ([side.scale.lately for side in self._believed.values()], [self._together.lately(times)])
        )

    def take_unsure(self) -> Unsure:
        """Return what counts have left open since the last look."""
        of_sides = max(self._unaccounted(side) for side in self._believed.values())
        way = self._unsure + max(of_sides, self._together.take_unaccounted())
        if not way and not self._stood:
            return SURE_OF_ALL
        unsure = Unsure(way, self._stood)
        self._unsure, self._stood = 0.0, False
        return unsure

    def _unaccounted(self, side: Side) -> float:
        by_file, by_line = side.scale.take_unaccounted(), side.by_line.take_unaccounted()
        return max(by_file, by_line if self._odd(side) else 0.0)

    def leave_out(self, name: str) -> None:
        """Go on without the side whose counts lie, and take what is in question for unsure."""
        self._unsure += self.in_question
        self._agree()
        self._together.begin()
        del self._believed[name]

    def _concede(self) -> None:
        self._unsure += self.undecided
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
        return all(side.scale.is_acquitted and not self._odd(side) for side in (self._left, self._right))

    def blamed(self) -> CountsVerdict | None:
        """Return what is wrong with the counts by which a heading is contradicted; None if they are not to blame."""
        sides = {"left": self._left, "right": self._right}
        wrong = [name for name, side in sides.items() if side.scale.contradicts or self._is_amiss(side)]
        if len(wrong) == 2:
            return CountsVerdict("", "neither duties nor heading agree with the counts: look after the encoders")
        return CountsVerdict(wrong[0], "counts otherwise than its motor does, and the heading too") if wrong else None

    def judge(self, turns: Turns | None) -> CountsVerdict | None:
        """Return what is wrong with the counts, if that can be told now; ``turns`` of a heading that is believed."""
        if len(self._believed) == 1:
            return self._judge_alone(*self._believed.items())
        left, right = self._left, self._right
        change = 1.0 if turns is None else turns.factor_change
        if left.is_well and right.is_well and not self._together.is_amiss and change <= FACTOR_CHANGE:
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
                self._concede()
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
        if max(left.scale.settled, right.scale.settled) < LEAST_SCALE and _turns_as_if_short(turns, 0, WEAK_TURN):
            return CountsVerdict(
                "", f"both sides count {lately:.1f} times what their motors do, as the heading says: {MEASURES}"
            )
        if self._together.is_amiss:
            times = self._together.settled
            return CountsVerdict("", f"both sides count {times:.1f} times what their motors made before: {CHANGED}")
        return self._judge("left", left, right, turns) or self._judge("right", right, left, turns)

    def _judge_alone(self, believed: tuple[str, Side]) -> CountsVerdict | None:
        name, side = believed
        if side.stands:
            self._stood = True
            self._concede()
        is_scaled = side.by_line.is_beyond_both or side.scale.settled > MOST_SCALE
        if side.rolls or side.is_against or is_scaled:
            return CountsVerdict("", f"the {name} side, which alone is believed, counts otherwise than its motor does")
        return None

    def _judge(self, name: str, side: Side, other: Side, turns: Turns | None) -> CountsVerdict | None:
        scale, outwards = side.scale.settled, -1 if name == "left" else 1
        if scale > MOST_SCALE:
            return CountsVerdict(name, f"counts {scale:.1f} times what its motor can do")
        if scale < LEAST_SCALE < other.scale.lately and _turns_as_if_short(turns, outwards * side.sense, WEAK_TURN):
            return CountsVerdict(name, f"counts {scale:.1f} times what its motor does, and the heading says so too")
        before, (least, most) = side.by_line.settled, LINE_SCALES
        is_short = before < least and _turns_as_if_short(turns, outwards * side.sense, SHORT_TURN)
        if self._is_amiss(side) and (before > most or is_short) and not self._odd(other):
            return CountsVerdict(name, f"counts {before:.1f} times what its motor made before")
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


def _turns_as_if_short(turns: Turns | None, sense: int, least: float) -> bool:
    """Tell whether the heading turns farther than the counts by more than ``least`` (rad), to the left (1), right (-1)
    or either way (0), or the base as if it were much narrower than before."""
    if turns is None:
        return False
    if turns.factor_change < 1.0 / FACTOR_CHANGE:
        return True
    unexplained, told = turns.unexplained, turns.told
    return abs(unexplained) > least and (unexplained * sense > 0.0 if sense else unexplained * told > 0.0)
