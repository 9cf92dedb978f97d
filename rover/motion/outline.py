"""The body's outline, jaws and what they hold with it, and how far it is from the boundary and from known walls."""

import math
from typing import NamedTuple

from rover.estimate.field import Ground
from rover.files.robot import Body, Robot
from rover.geometry import XY, Pose, distance_to_segment, inside

FINGER = 0.03
"""What a jaw's finger takes (m), ahead of what it holds and beside it."""


class BodyPart(NamedTuple):
    """A rectangle in the robot's frame (m): from ``back`` to ``front``, ``half_width`` to either side."""

    back: float
    front: float
    half_width: float


class Barrier(NamedTuple):
    """A line that no part of the body may cross, from one end to the other (m), and what it is called."""

    start: XY
    end: XY
    cause: str


class BodyOutline:
    """The body, and before it the jaws.

    Args:
        body: the robot file's measures.
        between: width (m) of the widest thing that the open jaws take; None: the robot has none.
        loaded: such a thing is between them.

    Attributes:
        radius: of the circle round the robot's middle that holds it all (m).
        half_width: of the body (m).
    """

    def __init__(self, body: Body, between: float | None, *, loaded: bool) -> None:
        half_length, half_width = 0.5 * body.length, 0.5 * body.width
        parts = [BodyPart(-half_length, half_length, half_width)]
        if between is not None:
            tip = body.gripper_reach + (max(0.5 * between, FINGER) if loaded else FINGER)
            parts.append(BodyPart(0.0, max(half_length, tip), min(half_width, 0.5 * between + FINGER)))
        self.parts = tuple(parts)
        self.half_width = half_width
        self.radius = max(math.hypot(max(part.front, -part.back), part.half_width) for part in parts)


def outline_of(robot: Robot, widest: float, *, loaded: bool) -> BodyOutline:
    """Return a robot's outline, whose jaws, if it has any, may take a thing that is ``widest`` (m) wide."""
    return BodyOutline(robot.body, None if robot.devices.gripper is None else widest, loaded=loaded)


class Surroundings:
    """The boundary and the known walls, as the outline meets them."""

    def __init__(self, ground: Ground) -> None:
        self._boundary = ground.boundary
        edges = [Barrier(*edge, "boundary") for edge in ground.edges]
        lines = {frozenset(edge) for edge in ground.edges}
        walls = [Barrier(*wall, "wall") for wall in ground.walls if frozenset(wall) not in lines]
        self._barriers = (*edges, *walls)

    def near(self, place: XY, reach: float) -> tuple[list[Barrier], float]:
        """Return the barriers within ``reach`` (m) of a place, and the distance (m) of the nearest of the others."""
        near, others = [], math.inf
        for barrier in self._barriers:
            distance = distance_to_segment(place, barrier.start, barrier.end)
            if distance < reach:
                near.append(barrier)
            else:
                others = min(others, distance)
        return near, others

    def room(self, outline: BodyOutline, pose: Pose, barriers: list[Barrier]) -> tuple[float, str]:
        """Return how far (m) the outline at a pose is from the nearest of some barriers, and which that is.

        Negative: so far it stands in it. A robot whose middle is outside the boundary stands in that the deeper, the
        farther out it is.
        """
        middle = (pose.x, pose.y)
        if not inside(middle, self._boundary):
            edges = (one for one in self._barriers if one.cause == "boundary")
            out = min(distance_to_segment(middle, one.start, one.end) for one in edges)
            return -outline.radius - out, "boundary"
        c, s = math.cos(pose.heading), math.sin(pose.heading)
        nearest, cause = math.inf, ""
        for barrier in barriers:
            ends = _seen_from(pose, c, s, barrier.start), _seen_from(pose, c, s, barrier.end)
            for part in outline.parts:
                room = _apart(part, *ends)
                if room < nearest:
                    nearest, cause = room, barrier.cause
        return nearest, cause


def _seen_from(pose: Pose, c: float, s: float, place: XY) -> XY:
    dx, dy = place[0] - pose.x, place[1] - pose.y
    return dx * c + dy * s, dy * c - dx * s


def _apart(part: BodyPart, start: XY, end: XY) -> float:
    """Return the largest gap (m) between a part and a line along the robot's axes and the line's normal.

    They are apart exactly if one of these is positive (separating axes, as in C. Ericson, Real-Time Collision
    Detection, 2005, section 4.4). If none is, it tells how deep the line has come in from where the robot's middle is
    not: the middle lies in every part, and what is on the far side of the line counts as across it.
    """
    (x1, y1), (x2, y2) = start, end
    dx, dy = x2 - x1, y2 - y1
    length = math.hypot(dx, dy)
    apart = max(_beyond(x1, x2, part.front, -part.back), _beyond(y1, y2, part.half_width, part.half_width))
    if length == 0.0:
        return apart
    off = (y2 * x1 - y1 * x2) / length  # of the line from the middle; the sign tells the side
    nx, ny = (dy, -dx) if off >= 0.0 else (-dy, dx)
    farthest = (nx * (part.front if nx > 0.0 else part.back) + abs(ny) * part.half_width) / length
    return max(apart, abs(off) - farthest)


def _beyond(one: float, other: float, ahead: float, behind: float) -> float:
    """Return how far a line between two places on an axis lies beyond what reaches ``ahead`` and ``behind`` of 0."""
    if one > 0.0 and other > 0.0:
        return min(one, other) - ahead
    if one < 0.0 and other < 0.0:
        return -max(one, other) - behind
    return -math.inf
