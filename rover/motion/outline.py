"""The body's outline, jaws and what they hold with it, and how far it is from the boundary and from known walls."""

import math
from typing import NamedTuple

from rover.devices.jaws import FINGER, JawsSize, jaws_size
from rover.estimate.doubt import SURE, Doubt
from rover.estimate.field import Ground
from rover.files.robot import Body, Robot
from rover.geometry import XY, Pose, distance_to_segment, inside

BEFORE_TIPS = 0.01
"""Ahead of the fingers' ends (m): no reach is measured to the millimetre."""


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


class RoomDue(NamedTuple):
    """Room (m) that is due before boundary and walls: so much always, and what the position's doubt takes besides."""

    margin: float
    doubt: Doubt = SURE

    @property
    def worst(self) -> float:
        """Room (m) that is due where the doubt is most."""
        return self.margin + self.doubt.worst


class BodyOutline:
    """The body, and before it the jaws.

    Args:
        body: the robot file's measures.
        jaws: their measures; None: the robot has none.
        widest: of what they take (m).
        loaded: such a thing is between them; else they are open.

    Attributes:
        radius: of the circle round the robot's middle that holds it all (m).
        half_width: of the widest part (m).
    """

    def __init__(self, body: Body, jaws: JawsSize | None, widest: float, *, loaded: bool) -> None:
        half_length, half_width = 0.5 * body.length, 0.5 * body.width
        parts = [BodyPart(-half_length, half_length, half_width)]
        if jaws is not None:
            tip = body.gripper_reach + max(0.5 * widest if loaded else 0.0, jaws.tips + BEFORE_TIPS)
            beside = 0.5 * widest + 2.0 * FINGER if loaded else jaws.half_width
            parts.append(BodyPart(0.0, max(half_length, tip), beside))
        self.parts = tuple(parts)
        self.half_width = max(part.half_width for part in parts)
        self.radius = max(math.hypot(max(part.front, -part.back), part.half_width) for part in parts)


def outline_of(robot: Robot, widest: float, *, loaded: bool) -> BodyOutline:
    """Return a robot's outline, whose jaws, if it has any, may take a thing that is ``widest`` (m) wide."""
    gripper = robot.devices.gripper
    return BodyOutline(robot.body, None if gripper is None else jaws_size(gripper, widest), widest, loaded=loaded)


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

    def room(self, outline: BodyOutline, pose: Pose, barriers: list[Barrier], doubt: Doubt = SURE) -> tuple[float, str]:
        """Return how far (m) the outline at a pose is from the nearest of some barriers, and which that is.

        As far it is at least, with so much doubt of where the robot stands. Negative: so far it stands in it. A robot
        whose middle is outside the boundary stands in that the deeper, the farther out it is.
        """
        if not self.holds(pose):
            return self.beyond(outline, pose) - doubt.worst, "boundary"
        nearest, cause = math.inf, ""
        for room, barrier in zip(self.rooms(outline, pose, barriers, doubt), barriers, strict=True):
            if room < nearest:
                nearest, cause = room, barrier.cause
        return nearest, cause

    def holds(self, pose: Pose) -> bool:
        """Tell whether the robot's middle is within the boundary."""
        return inside((pose.x, pose.y), self._boundary)

    def beyond(self, outline: BodyOutline, pose: Pose) -> float:
        """Return how deep (m, negative) a robot whose middle is outside the boundary stands in that."""
        edges = (one for one in self._barriers if one.cause == "boundary")
        return -outline.radius - min(distance_to_segment((pose.x, pose.y), one.start, one.end) for one in edges)

    def rooms(self, outline: BodyOutline, pose: Pose, barriers: list[Barrier], doubt: Doubt) -> list[float]:
        """Return the same (m) of each of some barriers, for a robot whose middle is within the boundary."""
        c, s = math.cos(pose.heading), math.sin(pose.heading)
        off = doubt.seen_at(c, s)
        rooms = []
        for barrier in barriers:
            line = _line(_seen_from(pose, c, s, barrier.start), _seen_from(pose, c, s, barrier.end), off)
            rooms.append(min([_apart(part, line) for part in outline.parts]))
        return rooms


def _seen_from(pose: Pose, c: float, s: float, place: XY) -> XY:
    dx, dy = place[0] - pose.x, place[1] - pose.y
    return dx * c + dy * s, dy * c - dx * s


def distance_less_doubt(place: XY, barrier: Barrier, doubt: Doubt) -> float:
    """Return how far (m) a place is from a barrier at least, with so much doubt of where it is.

    They are so far apart along one direction: the line's normal, the line itself, or the shortest way to it.
    """
    (x1, y1), (x2, y2) = barrier.start, barrier.end
    dx, dy = place[0] - x1, place[1] - y1
    length = math.hypot(x2 - x1, y2 - y1)
    shortest = distance_to_segment(place, barrier.start, barrier.end)
    if doubt == SURE or length == 0.0:
        return shortest - doubt.worst
    tx, ty = (x2 - x1) / length, (y2 - y1) / length
    along, away = dx * tx + dy * ty, abs(dy * tx - dx * ty)
    beyond = max(-along, along - length)
    apart = max(away - doubt.along(-ty, tx), beyond - doubt.along(tx, ty))
    if beyond <= 0.0 or shortest == 0.0:
        return apart
    nearest = x1 if along < 0.0 else x2, y1 if along < 0.0 else y2
    towards = (place[0] - nearest[0]) / shortest, (place[1] - nearest[1]) / shortest
    return max(apart, shortest - doubt.along(*towards))


class _Line(NamedTuple):
    """A line in the robot's frame (m), its normal away from the robot's middle, and the doubt along each axis (m).

    A point has no normal: (0, 0).
    """

    x1: float
    y1: float
    x2: float
    y2: float
    nx: float
    ny: float
    away: float
    doubt_ahead: float
    doubt_aside: float
    doubt_away: float


def _line(start: XY, end: XY, doubt: Doubt) -> _Line:
    (x1, y1), (x2, y2) = start, end
    dx, dy = x2 - x1, y2 - y1
    length = math.hypot(dx, dy)
    ahead, aside = math.sqrt(max(0.0, doubt.xx)), math.sqrt(max(0.0, doubt.yy))
    if length == 0.0:
        return _Line(x1, y1, x2, y2, 0.0, 0.0, 0.0, ahead, aside, 0.0)
    away = (y2 * x1 - y1 * x2) / length  # of the line from the middle; the sign tells the side
    side = 1.0 if away >= 0.0 else -1.0
    nx, ny = side * dy / length, -side * dx / length
    return _Line(x1, y1, x2, y2, nx, ny, abs(away), ahead, aside, doubt.along(nx, ny))


def _apart(part: BodyPart, line: _Line) -> float:
    """Return the largest gap (m) between a part and a line, less the doubt along it, along the robot's axes and the
    line's normal.

    They are apart exactly if one of these is positive (separating axes, as in C. Ericson, Real-Time Collision
    Detection, 2005, section 4.4). If none is, it tells how deep the line has come in from where the robot's middle is
    not: the middle lies in every part, and what is on the far side of the line counts as across it.
    """
    apart = max(
        _beyond(line.x1, line.x2, part.front, -part.back) - line.doubt_ahead,
        _beyond(line.y1, line.y2, part.half_width, part.half_width) - line.doubt_aside,
    )
    if line.nx == line.ny == 0.0:
        return apart
    farthest = line.nx * (part.front if line.nx > 0.0 else part.back) + abs(line.ny) * part.half_width
    return max(apart, line.away - farthest - line.doubt_away)


def _beyond(one: float, other: float, ahead: float, behind: float) -> float:
    """Return how far a line between two places on an axis lies beyond what reaches ``ahead`` and ``behind`` of 0."""
    if one > 0.0 and other > 0.0:
        return min(one, other) - ahead
    if one < 0.0 and other < 0.0:
        return -max(one, other) - behind
    return -math.inf
