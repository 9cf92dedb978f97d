"""Every sensor is held against the others: one that lies does so plainly and in time, and no other may tell the same.

Nothing here knows the truth. Each pair of `rover.core.pairs` measures one thing in two ways, and speaks when they
differ by more than slip, noise and a robot file's usual errors can make them. Blame goes to what other pairs cannot
acquit; where nobody can be blamed the robot stops. All of it counts ways and angles and not time: standing proves
nothing.
"""

import math
from collections.abc import Sequence
from typing import NamedTuple

from rover.core.askew import Askew
from rover.core.beyond import Beyond, Wall
from rover.core.closing import Closed, Closing
from rover.core.sameness import Echoes, Sightings, Volts
from rover.core.sides import MEASURES, CountsVerdict, Sides, Unsure
from rover.core.turns import FROZEN, Turns, Verdict
from rover.devices.readings import BatteryValue, Detection, HeadingValue
from rover.files.robot import Robot

GAP_S = 0.2
"""So long without counts, and nobody knows what came of the commands meanwhile: all that is not decided begins anew."""
LATE_NS = 150_000_000
"""What comes later than this was held up, and commands may have been, too."""

HEADED_NS = 500_000_000
"""So long after the last heading it is still known how the robot is turned."""


class Doubt(NamedTuple):
    """A device that is no longer believed, and why.

    Attributes:
        turned: angle (rad) by which all was turned that it told.
        moves: by how much it has moved each state of the pose filter, wrongly.
    """

    device: str
    why: str
    turned: float = 0.0
    moves: Sequence[float] = ()


class CrossChecks:
    """Holds the readings of a run against each other.

    Args:
        robot: the robot file.
        iron: how wrong the field may make a heading (rad, standard deviation).

    Attributes:
        found: doubts since the last look, to be taken from here.
        why_stop: why nobody knows where the robot goes, '' while somebody does.
        lying_side: ``left`` or ``right``: the counts of this side are doubted, the other's are not.
        takes_angle, takes_rate: what of the heading is believed.
    """

    def __init__(self, robot: Robot, iron: float) -> None:
        heading, battery = robot.devices.heading, robot.devices.battery
        self.found: list[Doubt] = []
        self.why_stop = self.lying_side = ""
        self.takes_angle = self.takes_rate = True
        self._track = robot.body.track
        self._sides = Sides(robot)
        self._turns = None if heading is None else Turns(robot.body.track, heading.sigma, iron)
        finders = robot.devices.of_family("range")
        self._echoes = {name: Echoes(keys) for name, keys in finders.items()}
        self._beyond = {name: Beyond() for name in finders}
        self._closing = {name: Closing() for name in finders}
        self._along = {name: math.cos(keys.mount.towards) for name, keys in finders.items()}
        camera = robot.devices.camera
        self._sightings = Sightings()
        self._askew = Askew(0.0 if camera is None else camera.ahead, robot.body.gripper_reach)
        self._headed_ns = -HEADED_NS
        self._volts = None if battery is None else Volts(battery)
        self._duty = self._without_counts_s = self._astray = 0.0
        self._doubted: set[str] = set()

    def is_doubted(self, device: str) -> bool:
        """Tell whether a device is no longer believed."""
        return device in self._doubted

    def lose_track(self) -> None:
        """Begin anew with all that is not decided: reports were held up, and commands may have been."""
        self._sides.begin()
        self._askew.begin()
        for closing in self._closing.values():
            closing.begin()
        if self._turns is not None:
            self._turns.begin()

    def drive(self, duties: tuple[float, float], told: tuple[float, float], seconds: float) -> None:
        """Note what the two motor channels are given for a time (s), and the speeds (m/s) that the wheels are told."""
        self._sides.drive(duties, told, seconds)
        self._without_counts_s += seconds
        self._duty = 0.5 * (abs(duties[0]) + abs(duties[1]))

    def count(self, left: float, right: float, seconds: float) -> Unsure:
        """Take in the ways (m) that both sides counted in a time (s); return what of it nobody can be blamed for."""
        turns, way = self._turns, 0.5 * (left + right)
        told: float | None = None
        self._without_counts_s = 0.0
        if turns is not None:
            turns.count(left, right)
            told, turns.turned = turns.turned, None
        by_counts = (right - left) / self._track if turns is None else 0.0
        for name, echoes in self._echoes.items():
            echoes.move(self._along[name] * way, abs(way), told or 0.0)
            self._closing[name].move(self._along[name] * way, told or by_counts)
            self._beyond[name].move(abs(way))
        self._sightings.move(abs(way))
        self._askew.move(way)
        if seconds > GAP_S:
            self.lose_track()
        else:
            self._sides.count(left, right, told, seconds)
            if verdict := self._sides.judge(None if "heading" in self._doubted else turns):
                self._doubt_counts(verdict)
            if turns is None or turns.is_settled:
                self._sides.mark()
        if turns is not None:
            turns.is_settled = False
        unsure, astray = self._sides.take_unsure(), self._astray
        self._astray = 0.0
        return unsure._replace(way=unsure.way + astray) if astray else unsure

    def tell(self, value: HeadingValue, taken_ns: int) -> None:
        """Take in a heading."""
        if self._turns is None:
            return
        self._headed_ns = taken_ns
        verdict = self._turns.tell(value, taken_ns)
        if self._without_counts_s > GAP_S:
            self._turns.begin()  # nothing is there that it could contradict
            return
        if verdict is None or self._sides.undecided:
            return  # such counts prove nothing themselves
        if not verdict.part:
            self._stop(verdict.why)
        elif self.lying_side:
            self._doubt_heading(verdict)
        elif blamed := self._sides.blamed():
            self._doubt_counts(blamed)
        elif self._sides.are_acquitted or abs(self._turns.least) > 2.0 * FROZEN:
            self._doubt_heading(verdict)

    def hear(self, device: str, distance: float | None, wall: Wall | None) -> None:
        """Take in an echo (m) of a range finder before which nothing is held, and a known wall that it should hear."""
        self._doubt(device, self._echoes[device].hear(distance, None if wall is None else wall.distance))
        if not self.lying_side and (closed := self._closing[device].hear(distance, is_square=wall is not None)):
            self._close(closed)
        if distance is not None and wall is not None:
            beyond = self._beyond[device]
            self._doubt(device, beyond.hear(distance, wall), moves=beyond.moves)

    def _close(self, closed: Closed) -> None:
        """Stop where duties say of both sides' counts what echoes do; else, what is heard may move: who knows."""
        if self._sides.are_both_off(closed.times):
            self._stop(f"both sides count {closed.times:.1f} times the way that echoes tell, as duties say: {MEASURES}")
        else:
            self._astray += closed.astray

    def see(self, objects: Sequence[Detection], heading: float, taken_ns: int) -> None:
        """Take in what a frame shows where nothing is held before the camera; ``heading`` is the robot's then (rad)."""
        if "camera" in self._doubted:
            return
        self._doubt("camera", self._sightings.see(objects, heading))
        is_headed = self.takes_angle and self.takes_rate and taken_ns - self._headed_ns < HEADED_NS
        if not is_headed or self.lying_side:
            self._askew.begin()  # nobody knows well enough where the camera was
        elif verdict := self._askew.see(objects, heading, taken_ns):
            self._doubt("camera", *verdict)

    def measure(self, value: BatteryValue) -> None:
        """Take in what a battery monitor says."""
        if self._volts is not None:
            self._doubt("battery", self._volts.measure(value, self._duty))

    @property
    def in_question(self) -> tuple[float, float]:
        """Way (m) and turn (rad) that may have been made otherwise than they are told, by what is not decided yet."""
        turn = 0.0 if self._turns is None or "heading" in self._doubted else self._turns.in_question
        return self._sides.in_question, turn

    def unseen_turn(self, track: float) -> float:
        """Return the turn (rad) that counts on a base as wide as ``track`` (m) made, and the heading did not tell."""
        return 0.0 if self._turns is None else self._turns.unseen(track)

    def _doubt_heading(self, verdict: Verdict) -> None:
        self.takes_angle = self.takes_angle and verdict.part == "rate"
        self.takes_rate = self.takes_rate and verdict.part == "angle"
        self._doubt("heading", verdict.why)
        if self._turns is not None:
            self._astray, self._turns.lag.astray = self._astray + self._turns.lag.astray, 0.0
        if self.lying_side and not self.takes_rate:
            self._stop("neither the heading nor the counts tell where the robot goes")

    def _doubt_counts(self, verdict: CountsVerdict) -> None:
        if not verdict.side:
            self._stop(verdict.why)
            return
        why, turns = f"the {verdict.side} side {verdict.why}", self._turns
        self._doubt("counts", why)
        self.lying_side = verdict.side
        self._sides.leave_out(verdict.side)
        if turns is not None:
            turns.begin()
            turns.believes_counts = False
        if turns is None or not self.takes_rate or not turns.has_rate:
            self._stop(f"{why}, and there is no turn rate to go on with the other side alone")

    def _doubt(self, device: str, why: str, turned: float = 0.0, moves: Sequence[float] = ()) -> None:
        if why and device not in self._doubted:
            self._doubted.add(device)
            self.found.append(Doubt(device, why, turned, moves))

    def _stop(self, why: str) -> None:
        self.why_stop = self.why_stop or why
