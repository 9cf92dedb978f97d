"""The jaws: their opening in time, and the chances of a grip."""

from random import Random

from rover.bench.draws import NEVER_NS, drawn, stream
from rover.bench.motors import STEP
from rover.bench.objects import Piece
from rover.devices.gripper.keys import GripperKeys
from rover.devices.gripper.values import JawsValue
from rover.devices.jaws import FINGER, jaws_size
from rover.devices.keys import SIMULATED
from rover.files.bench import BenchFile
from rover.files.fault_table import RobotFault
from rover.files.robot import Robot
from rover.quantities import clamp

# Wider than the piece by this share of the full opening, the jaws no longer hold it.
LET_GO = 0.05
# So much farther open than they were to go, jaws that tell their position are taken to hold something.
HELD_OPEN_BY = 0.05


class Jaws:
    """A servo gripper. Its opening is 0 closed, 1 open, and stops at the held piece's width.

    Attributes:
        target: opening last commanded; ``wanted``: the same, but not less than the held piece leaves.
        drop_due_ns: when the held piece slips out, if it does.
    """

    def __init__(self, file: BenchFile, robot: Robot, widest: float, seed: int) -> None:
        gripper = robot.devices.gripper or GripperKeys.model_validate({"driver": SIMULATED})
        self.size = jaws_size(robot.devices.gripper, widest)
        self._errors = file.gripper
        self._draws: Random = stream(seed, "grip")
        self._share_a_step = self._healthy = STEP / gripper.travel_time
        self.drop_due_ns = NEVER_NS
        self.reach = robot.body.gripper_reach
        self.opening = self.target = self.wanted = 1.0
        self._least = 0.0
        self.limp = self.tried = False
        self.held: Piece | None = None

    def command(self, opening: float | None) -> None:
        """Set the wanted opening; None lets the servo go limp, so that it holds nothing."""
        self.limp = opening is None
        self.target = self.opening if opening is None else clamp(opening, 0.0, 1.0)
        self.wanted = self.target if self.target > self._least else self._least
        if self.limp and self.held is not None:
            self.drop_due_ns = 0

    def suffer(self, wrong: RobotFault) -> None:
        """Move as fast as what is wrong lets the jaws from now on."""
        self._share_a_step = self._healthy * wrong.jaws

    def takes(self, ahead: float, left: float, radius: float) -> bool:
        """Whether a piece at (ahead, left) of the robot (m) stands between the open jaws."""
        size = self.size
        return abs(left) <= size.half_open - radius and abs(ahead - self.reach) <= size.half_depth

    def halves(self, radius: float) -> tuple[float, float]:
        """Return the half widths (m) of the slot for a piece's middle (-1: none) and of the jaws from outside."""
        if self.held is not None:
            return -1.0, self.held.radius + FINGER
        if self.opening < self.opening_on(radius):
            return -1.0, 2.0 * FINGER
        return self.size.half_open - radius, self.size.half_width

    def move(self) -> None:
        """Turn the servo for one step."""
        way = self.wanted - self.opening
        self.opening += clamp(way, -self._share_a_step, self._share_a_step)
        if way > 0.0:
            self.tried = False

    def closes_on(self, piece: Piece) -> bool:
        """Whether the jaws have just come so near together that they meet a piece between them."""
        return not self.tried and not self.limp and self.target < self.opening <= self.opening_on(piece.radius)

    def lets_go(self, now_ns: int) -> bool:
        """Whether the held piece is free from now on: jaws opened, gone limp, or the piece slipped out."""
        return self.held is not None and (self.opening > self._least + LET_GO or now_ns >= self.drop_due_ns)

    def grip(self, piece: Piece, now_ns: int) -> bool:
        """Take the piece, or miss it; return whether it is held."""
        self.tried = True
        if self._draws.random() < self._errors.missed:
            return False
        self.held = piece
        self.opening = self.wanted = self._least = self.opening_on(piece.radius)
        drops = self._draws.random() < self._errors.dropped
        after = drawn(self._errors.dropped_after, self._draws)
        self.drop_due_ns = now_ns + round(after * 1e9) if drops else NEVER_NS
        return True

    def knocked(self, left: float, radius: float) -> tuple[float, float]:
        """Return where a piece ends (m ahead, m left) that the closing jaws have knocked away."""
        way = drawn(self._errors.pushed, self._draws)
        return self.reach + self.size.tips + radius + way, left + self._draws.uniform(-way, way)

    def opening_on(self, radius: float) -> float:
        """Return the opening at which the jaws meet a piece that stands in the middle."""
        return radius / self.size.half_open

    def release(self) -> Piece | None:
        """Forget the held piece and return it."""
        held, self.held = self.held, None
        self.drop_due_ns, self._least, self.wanted = NEVER_NS, 0.0, self.target
        return held


def felt(jaws: Jaws, feedback: str) -> JawsValue:
    """Return what the jaws report: by switch or current whether they hold something, else how far they are open."""
    if feedback != "position":
        return JawsValue(None, jaws.held is not None)
    has_arrived = jaws.opening == jaws.wanted and not jaws.limp
    return JawsValue(jaws.opening, jaws.opening - jaws.target > HELD_OPEN_BY if has_arrived else None)
