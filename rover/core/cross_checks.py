"""Every sensor is held against the others: one that lies does so plainly and in time, and no other may tell the same.

Nothing here knows the truth. Each pair of `rover.core.pairs` measures one thing in two ways, and speaks when they
differ by more than slip, noise and a robot file's usual errors can make them. Blame goes to what other pairs cannot
acquit; where nobody can be blamed the robot stops. All of it counts ways and angles and not time: standing proves
nothing.
"""

import math
from collections.abc import Sequence
from typing import NamedTuple

from rover.core.sameness import Echoes, Sightings, Volts
from rover.core.sides import LEAST_SCALE, MOST_SCALE, Side
from rover.core.turns import FACTOR_CHANGE, FROZEN, Turns, Verdict
from rover.devices.readings import BatteryValue, Detection, HeadingValue
from rover.files.robot import Robot

ONE_SIDE_TURNS = (0.4, 1.2)
"""Where counts are true, also of a side that stands, the heading turns within these shares of what they make of it."""
TURN_TO_TELL = math.radians(12.0)
"""Turn by the counts, on wheels without slip, from which a heading can contradict it; and this many sigmas more."""
NOISE_FACTOR = 6.0
TURN_SLACK = math.radians(3.0)
WEAK_TURN = math.radians(20.0)
"""Counts that are too few for their duties are believed until the heading turns so much farther than they."""
LATE_NS = 150_000_000
"""What comes later than this was held up, and commands may have been, too: all that is not decided begins anew."""


class Doubt(NamedTuple):
    """A device that is no longer believed, and why."""

    device: str
    why: str


class CrossChecks:
    """Holds the readings of a run against each other.

    Attributes:
        found: doubts since the last look, to be taken from here.
        why_stop: why nobody knows where the robot goes, '' while somebody does.
        lying_side: ``left`` or ``right``: the counts of this side are doubted, the other's are not.
        takes_angle, takes_rate: what of the heading is believed.
    """

    def __init__(self, robot: Robot) -> None:
        heading, battery = robot.devices.heading, robot.devices.battery
        self.found: list[Doubt] = []
        self.why_stop = self.lying_side = ""
        self.takes_angle = self.takes_rate = True
        self._track = robot.body.track
        self._left, self._right = Side(robot), Side(robot)
        self._turns = None if heading is None else Turns(robot.body.track, heading.sigma)
        finders = robot.devices.of_family("range")
        self._echoes = {name: Echoes(keys) for name, keys in finders.items()}
        self._along = {name: math.cos(keys.mount.towards) for name, keys in finders.items()}
        self._sightings = Sightings()
        self._volts = None if battery is None else Volts(battery)
        self._duty = 0.0
        self._doubted: set[str] = set()

    def is_doubted(self, device: str) -> bool:
        """Tell whether a device is no longer believed."""
        return device in self._doubted

    def lose_track(self) -> None:
        """Begin anew with all that is not decided: reports were held up, and commands may have been."""
        self._left.begin()
        self._right.begin()
        if self._turns is not None:
            self._turns.begin()

    def drive(self, duties: tuple[float, float], seconds: float) -> None:
        """Note what the two motor channels are given for a time (s)."""
        self._left.drive(duties[0], seconds)
        self._right.drive(duties[1], seconds)
        self._duty = 0.5 * (abs(duties[0]) + abs(duties[1]))

    def count(self, left: float, right: float, seconds: float) -> None:
        """Take in the ways (m) that both sides counted in a time (s)."""
        turn, way, turns = (right - left) / self._track, 0.5 * (left + right), self._turns
        told = 0.0
        if turns is not None:
            turns.count(left, right)
            told, turns.turned = turns.turned, 0.0
        for name, echoes in self._echoes.items():
            echoes.move(self._along[name] * way, abs(way), told)
        self._sightings.move(told)
        if "counts" not in self._doubted:
            self._left.count(left, turn, told, seconds)
            self._right.count(right, turn, told, seconds)
            self._judge_counts()
            if turns is None or turns.is_settled:
                self._left.mark()
                self._right.mark()
        if turns is not None:
            turns.is_settled = False

    def tell(self, value: HeadingValue, taken_ns: int) -> None:
        """Take in a heading."""
        if self._turns is None:
            return
        verdict = self._turns.tell(value, taken_ns)
        if verdict is None or max(self._left.in_question, self._right.in_question) > 0.0:
            return  # counts that are in question themselves prove nothing
        if not verdict.part:
            self._stop(verdict.why)
        elif self._left.contradicts and self._right.contradicts:
            self._stop(f"neither duties nor heading agree with the counts: the heading {verdict.why}")
        elif self._left.contradicts or self._right.contradicts:
            side = "left" if self._left.contradicts else "right"
            self._lies(side, f"counts otherwise than its motor does, and the heading {verdict.why}")
        elif (self._left.is_acquitted and self._right.is_acquitted) or abs(self._turns.least) > 2.0 * FROZEN:
            self._doubt_heading(verdict)

    def _doubt_heading(self, verdict: Verdict) -> None:
        self.takes_angle = self.takes_angle and verdict.part == "rate"
        self.takes_rate = self.takes_rate and verdict.part == "angle"
        self._doubt("heading", verdict.why)
        if self.lying_side and not self.takes_rate:
            self._stop("of the heading and of the counts, neither tells where the robot goes")

    def hear(self, device: str, distance: float | None, expected: float | None) -> None:
        """Take in an echo (m) of a range finder before which nothing is held; see `Echoes.hear`."""
        self._doubt(device, self._echoes[device].hear(distance, expected))

    def see(self, objects: Sequence[Detection]) -> None:
        """Take in what a frame of a camera shows before which nothing is held."""
        self._doubt("camera", self._sightings.see(objects))

    def measure(self, value: BatteryValue) -> None:
        """Take in what a battery monitor says."""
        if self._volts is not None:
            self._doubt("battery", self._volts.measure(value, self._duty))

    @property
    def in_question(self) -> tuple[float, float]:
        """Way (m) and turn (rad) that may have been made otherwise than they are told, by what is not decided yet."""
        turn = 0.0 if self._turns is None or "heading" in self._doubted else self._turns.in_question
        return 0.0 if self.lying_side else max(self._left.in_question, self._right.in_question), turn

    def take_unaccounted(self) -> float:
        """Return the way (m) by which counts have lately differed from what motors do, without anybody to blame."""
        way = max(self._left.unaccounted, self._right.unaccounted)
        self._left.unaccounted = self._right.unaccounted = 0.0
        return way

    def unseen_turn(self, track: float) -> float:
        """Return the turn (rad) that counts on a base as wide as ``track`` (m) made, and the heading did not tell."""
        return 0.0 if self._turns is None else self._turns.unseen(track)

    def _judge_counts(self) -> None:
        left, right = self._left, self._right
        if left.stands and right.stands and abs(left.turned) > TURN_TO_TELL + NOISE_FACTOR * self._noise:
            self._stop("the heading turns, and neither side counts")
        elif left.is_against and right.is_against:
            self._stop("both sides turn against their duties: are motors or encoders connected the wrong way round?")
        elif min(left.lately, right.lately) > MOST_SCALE and max(left.scale, right.scale) > MOST_SCALE:
            self._stop(f"both sides count {min(left.lately, right.lately):.1f} times what their motors can do")
        elif left.scale < LEAST_SCALE and right.scale < LEAST_SCALE and self._turns_as_if_short(0):
            self._stop(f"both sides count {left.scale:.1f} times what their motors do, and the heading says so too")
        elif left.contradicts and right.contradicts and self._factor_change > FACTOR_CHANGE:
            self._stop("both sides count more than their motors do, and the heading says so too")
        else:
            self._judge("left", left, right)
            self._judge("right", right, left)

    def _judge(self, name: str, side: Side, other: Side) -> None:
        is_left = -1 if name == "left" else 1
        if side.scale > MOST_SCALE:
            self._lies(name, f"counts {side.scale:.1f} times what its motor can do")
        elif side.scale < LEAST_SCALE < other.lately and self._turns_as_if_short(is_left * side.sense):
            self._lies(name, f"counts {side.scale:.1f} times what its motor does, and the heading turns accordingly")
        elif side.is_against or (side.stands and not other.stands):
            self._judge_by_heading(name, side)

    def _judge_by_heading(self, name: str, side: Side) -> None:
        does = "counts the wrong way" if side.is_against else "counts nothing"
        if self._turns is None or "heading" in self._doubted:
            self._stop(f"the {name} side {does}, and no heading tells whether it turns")
        elif max(abs(side.by_counts), abs(side.turned)) > TURN_TO_TELL + NOISE_FACTOR * self._noise:
            low, high = sorted(share * side.by_counts for share in ONE_SIDE_TURNS)
            if not low - TURN_SLACK < side.turned < high + TURN_SLACK:
                self._lies(name, f"{does}, and the heading turns as if it drove")
            elif side.is_against:
                self._stop(f"the {name} side turns against its duty")
            else:
                side.agree()  # it stands in truth, which is the limits' affair

    @property
    def _noise(self) -> float:
        return 0.0 if self._turns is None else self._turns.noise

    @property
    def _factor_change(self) -> float:
        return 1.0 if self._turns is None or "heading" in self._doubted else self._turns.factor_change

    def _turns_as_if_short(self, sense: int) -> bool:
        """Tell whether the heading turns farther than the counts, to the left (1), right (-1) or either way (0), or the
        base as if it were much narrower than before."""
        if self._turns is None or "heading" in self._doubted:
            return False
        if self._factor_change < 1.0 / FACTOR_CHANGE:
            return True
        unexplained, told = self._turns.unexplained, self._turns.told
        return abs(unexplained) > WEAK_TURN and (unexplained * sense > 0.0 if sense else unexplained * told > 0.0)

    def _lies(self, side: str, why: str) -> None:
        self._doubt("counts", f"the {side} side {why}")
        if self._turns is not None:
            self._turns.begin()
            self._turns.believes_counts = False
        self.lying_side = side
        if self._turns is None or not self.takes_rate or not self._turns.has_rate:
            self._stop(f"the {side} side {why}, and there is no turn rate to go on with the other side alone")

    def _doubt(self, device: str, why: str) -> None:
        if why and device not in self._doubted:
            self._doubted.add(device)
            self.found.append(Doubt(device, why))

    def _stop(self, why: str) -> None:
        self.why_stop = self.why_stop or why
