"""How an errand's field lies before its robot: what can be reached, where the tray's gates and the lookouts are."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from rover.activities.places import gate_before
from rover.activities.sight import field_of_view, look_round
from rover.estimate.field import Ground, Slot, ground_for
from rover.estimate.looked_at import LookedAt, LookRound, Squares
from rover.feasibility.reachable import Passage, Reach, reach_of
from rover.files.errand import Errand
from rover.files.robot import Robot
from rover.geometry import XY, Pose
from rover.motion.outline import BodyOutline, Surroundings, outline_of

ROOM_TO_PASS = 0.05
"""Room (m) on either side of the body in the narrowest doorway that is driven through."""
LOOK_EVERY = 0.02
"""Along the way from gate to slot the outline is looked at this often (m)."""


@dataclass(frozen=True)
class Outlook:
    """What is seen of the field by looking round.

    Attributes:
        lookouts: the places to look round from that can be reached.
        look: what is seen round one.
        unseen: middles (m) of the squares of ``side`` (m) that are seen from none of them.
        unseen_share: of the field.
    """

    lookouts: tuple[XY, ...]
    look: LookRound
    unseen: tuple[XY, ...]
    side: float
    unseen_share: float


@dataclass(frozen=True)
class Layout:
    """The field as this robot meets it.

    Attributes:
        reach: what its middle can come to.
        outlook: what its camera shows it by looking round; None without a camera.
        turns_within: radius (m) of the circle that it needs for a turn on the spot, with something in the jaws.
        gates: by slot, where it stands to drive straight in, for slots that it can be driven in to and set down in.
        barred: by slot, what the body or the jaws would come too near to on that way: ``boundary`` or ``wall``.
    """

    errand: Errand
    robot: Robot
    ground: Ground
    reach: Reach
    outlook: Outlook | None
    turns_within: float
    gates: Mapping[Slot, Pose]
    barred: Mapping[Slot, str]

    @property
    def start(self) -> Pose:
        """Where the robot is set down."""
        start = self.errand.field.start
        return Pose(start.x, start.y, start.heading or 0.0)

    @property
    def way_home(self) -> Passage | None:
        """The narrowest place on the way from the start to the tray; None without either."""
        gate = next(iter(self.gates.values()), None)
        return None if gate is None else self.reach.narrowest(self.start[:2], gate[:2])


def layout_of(errand: Errand, robot: Robot) -> Layout:
    """Return the layout of an errand for a robot; the start lies inside the boundary."""
    ground = ground_for(errand, robot)
    start, need = (errand.field.start.x, errand.field.start.y), standing_room(robot) + ROOM_TO_PASS
    reach = reach_of(ground, start, need, robot.limits.boundary_margin)
    outlook = None if robot.devices.camera is None else _outlook(errand, robot, ground, reach)
    gates, barred = ways_in(errand, robot, ground)
    return Layout(
        errand, robot, ground, reach, outlook, outline_of(robot, errand.widest, loaded=True).radius, gates, barred
    )


def _outlook(errand: Errand, robot: Robot, ground: Ground, reach: Reach) -> Outlook:
    look = look_round(robot, errand, field_of_view(robot, errand.kinds.values()))
    squares, seen = Squares(ground), 0
    all_of_them = LookedAt(ground, look, errand.field.lookouts).lookouts
    lookouts = [one for one in all_of_them if comes_to(robot, reach, (one.x, one.y))]
    for one in lookouts:
        seen |= one.sees
    unseen = tuple(middle for number, middle in enumerate(squares.middles) if not seen >> number & 1)
    share = len(unseen) / max(1, len(squares.middles))
    return Outlook(tuple((one.x, one.y) for one in lookouts), look, unseen, squares.side, share)


def comes_to(robot: Robot, reach: Reach, place: XY) -> bool:
    """Tell whether the body can come from the start to a place, and there is room for it there."""
    return reach.ground.clearance(*place) >= standing_room(robot) and reach.comes_to(place)


def standing_room(robot: Robot) -> float:
    """Return how far (m) from boundary and walls the middle of a robot is at least, wherever it stands."""
    return 0.5 * robot.body.width + robot.limits.boundary_margin


def body_at(layout: Layout, pose: Pose, *, loaded: bool) -> list[list[XY]]:
    """Return the corners (m, field frame) of the body and of its jaws at a pose."""
    c, s = math.cos(pose.heading), math.sin(pose.heading)
    parts = []
    for back, front, half in outline_of(layout.robot, layout.errand.widest, loaded=loaded).parts:
        corners = ((back, -half), (front, -half), (front, half), (back, half))
        parts.append([(pose.x + x * c - y * s, pose.y + x * s + y * c) for x, y in corners])
    return parts


def ways_in(errand: Errand, robot: Robot, ground: Ground) -> tuple[dict[Slot, Pose], dict[Slot, str]]:
    """Return the gates of the slots with a free way in, and what bars that to the others."""
    outline, surroundings = outline_of(robot, errand.widest, loaded=True), Surroundings(ground)
    gates, barred = {}, {}
    for slot in ground.slots:
        gate = gate_before(ground, slot, robot.body.gripper_reach)
        if met := _met(outline, surroundings, gate, (slot.x, slot.y), robot):
            barred[slot] = met
        else:
            gates[slot] = gate
    return gates, barred


def _met(outline: BodyOutline, surroundings: Surroundings, gate: Pose, slot: XY, robot: Robot) -> str:
    """Return what the outline comes too near to on the way straight from the gate until the jaws are at the slot."""
    reach, margin = robot.body.gripper_reach, robot.limits.boundary_margin
    dx, dy = slot[0] - gate.x, slot[1] - gate.y
    length = (dx * dx + dy * dy) ** 0.5
    c, s = dx / length, dy / length
    count = 1 + int((length - reach) / LOOK_EVERY)
    for index in range(count + 1):
        gone = (length - reach) * index / count
        pose = Pose(gate.x + gone * c, gate.y + gone * s, gate.heading)
        near, _ = surroundings.near((pose.x, pose.y), outline.radius + margin)
        room, cause = surroundings.room(outline, pose, near)
        if room < margin:
            return cause
    return ""
