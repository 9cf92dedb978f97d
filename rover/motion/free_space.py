"""Where the body may be: how much room its outline has before boundary, walls and things, at a pose and along ways."""

import math
from collections.abc import Sequence
from typing import NamedTuple

from rover.estimate.doubt import SURE, Doubt
from rover.estimate.field import Ground
from rover.files.robot import Robot
from rover.geometry import XY, Pose, inside
from rover.motion.explored import CELL, Explored
from rover.motion.outline import Barrier, BodyOutline, RoomDue, Surroundings, distance_less_doubt, outline_of

TILE = 0.25
"""Side (m) of the squares for which the barriers nearby are looked up once."""
TOUCHES = 0.005
"""With less room (m) than this before a wall, the outline as good as touches it."""
BEYOND = 0.15
"""More room (m) than this beyond what is due counts as none the better."""
_HALF_DIAGONAL = TILE / math.sqrt(2.0)
SWAY = 0.005
"""A turn on the spot where there is too little room already may take no more than this (m) of it."""
GRAIN = 0.02
"""Along a way the outline is looked at this often (m) where it is near something."""


class Thing(NamedTuple):
    """A round thing to keep away from: middle, radius (m), and the room (m) to be left round it."""

    x: float
    y: float
    radius: float
    room: float


class FreeSpace:
    """Boundary and walls, as a robot's outline meets them. Looking at a place for the first time costs the most.

    Args:
        robot: the robot file.
        ground: the field.
        widest: width (m) of the widest thing that the jaws may hold.

    Attributes:
        outlines: of the robot with empty jaws, and with something between them.
    """

    def __init__(self, robot: Robot, ground: Ground, widest: float) -> None:
        self.outlines = tuple(outline_of(robot, widest, loaded=loaded) for loaded in (False, True))
        self._surroundings, self._boundary = Surroundings(ground), ground.boundary
        self._reach = max(outline.radius for outline in self.outlines) + TILE
        self._tiles: dict[tuple[int, int], tuple[list[Barrier], float]] = {}

    def look_beyond(self, room: float) -> None:
        """See to it that it is told how much more room than so much (m) there is, up to `BEYOND`."""
        farther = max(outline.radius for outline in self.outlines) + room + BEYOND - self._reach
        if farther > 0.0:
            self._reach += math.ceil(farther / TILE) * TILE
            self._tiles.clear()

    def room(self, outline: BodyOutline, pose: Pose, doubt: Doubt = SURE) -> float:
        """Return how far (m) an outline is from the nearest boundary or wall, or less where none is near.

        As far it is at least, with so much doubt of where it is. Negative: so far it stands in it, or beyond the
        boundary.
        """
        near, others = self._near(pose.x, pose.y)
        room, _ = self._surroundings.room(outline, pose, near, doubt)
        return min(room, others - outline.radius - doubt.worst)

    def gap(self, outline: BodyOutline, pose: Pose, barrier: Barrier) -> float:
        """Return how far (m) an outline at a pose is from one barrier; negative: so far it stands in it."""
        return self._surroundings.rooms(outline, pose, [barrier], SURE)[0]

    def disc_room(self, x: float, y: float, doubt: Doubt = SURE) -> float:
        """Return how far (m) a place is from the nearest boundary or wall, or less where none is near; -inf outside."""
        near, others = self._near(x, y)
        if not inside((x, y), self._boundary):
            return -math.inf
        return min([others - doubt.worst, *(distance_less_doubt((x, y), one, doubt) for one in near)])

    def _near(self, x: float, y: float) -> tuple[list[Barrier], float]:
        """Return the barriers that come into question at a place, and how far the others are, at least."""
        column, row = math.floor(x / TILE), math.floor(y / TILE)
        tile = self._tiles.get((column, row))
        if tile is None:
            middle = ((column + 0.5) * TILE, (row + 0.5) * TILE)
            near, others = self._surroundings.near(middle, self._reach + _HALF_DIAGONAL)
            tile = self._tiles[column, row] = (near, others - _HALF_DIAGONAL)
        return tile


class Clearance:
    """How much more room than is due one outline has, on ways that begin at one pose.

    A robot that stands nearer to something than is due may move so that it is never nearer than at first; what is
    believed to stand within it stands elsewhere.

    Args:
        space: boundary and walls.
        outline: of the robot, with what it holds.
        due: room before boundary and walls.
        things: other things, each with the room that is due round it.
        start: where the ways begin.
        explored: the ground that is known to be free, for a robot that does not hear what stands ahead of it; None: it
            hears that, and may as well go where nobody has been.
    """

    def __init__(
        self,
        space: FreeSpace,
        outline: BodyOutline,
        due: RoomDue,
        things: Sequence[Thing],
        start: Pose,
        explored: Explored | None = None,
    ) -> None:
        self._space, self._outline = space, outline
        self._margin, self._doubt = due
        self._things = [self._with_room_at(start, thing) for thing in things]
        self._nearby: dict[tuple[int, int], tuple[list[Thing], float]] = {}
        self._explored = explored
        self._unknown: dict[XY, float] = {}
        self._unknown_ahead: dict[Pose, float] = {}
        space.look_beyond(due.worst)
        self._start = start
        self._lacking = min(0.0, self.at(start) - SWAY)
        self._touching = min(TOUCHES, space.room(outline, start) - SWAY) if self._lacking < 0.0 else -math.inf

    @property
    def radius(self) -> float:
        """Of the circle round the robot's middle that holds its outline (m)."""
        return self._outline.radius

    @property
    def prefers_known(self) -> bool:
        """Whether ground that is known to be free is to be preferred."""
        return self._explored is not None

    @property
    def is_cramped(self) -> bool:
        """Whether the robot cannot turn round on the spot where the ways begin, one way or the other."""
        return not (self.can_turn(self._start, math.pi) or self.can_turn(self._start, -math.pi))

    def _with_room_at(self, start: Pose, thing: Thing) -> Thing:
        """Return a thing with no more room to be left round it than there is at first."""
        room = self._apart(start, thing) - thing.radius - SWAY
        return thing if room >= thing.room else thing._replace(room=max(room, -thing.radius))

    def _apart(self, pose: Pose, thing: Thing) -> float:
        """Return how far (m) a thing's middle is from the outline at a pose; 0 within it."""
        c, s = math.cos(pose.heading), math.sin(pose.heading)
        dx, dy = thing.x - pose.x, thing.y - pose.y
        return _apart(self._outline, dx * c + dy * s, dy * c - dx * s)

    def at(self, pose: Pose) -> float:
        """Return the room (m) at a pose beyond what is due; negative: so much is lacking."""
        least = self._space.room(self._outline, pose, self._doubt) - self._margin
        things, others = self._things_near(pose.x, pose.y)
        least = min(least, others - self._outline.radius)
        for thing in things:
            due = thing.radius + thing.room
            if math.hypot(thing.x - pose.x, thing.y - pose.y) - self._outline.radius - due < least:
                least = min(least, self._apart(pose, thing) - due)
        return least

    def if_free(self, pose: Pose) -> float:
        """Return the room (m) at a pose beyond what is due, -inf where the outline may not be."""
        room = self.at(pose)
        return room if self._may_be(room, pose) else -math.inf

    def is_free(self, pose: Pose) -> bool:
        """Tell whether the outline may be at a pose."""
        return self.if_free(pose) > -math.inf

    def at_disc(self, place: XY) -> float:
        """Return the room (m) beyond what is due of a disc as wide as the body; -inf where that may not be.

        Whoever drives only ahead and back needs as much, whichever way it is turned.
        """
        x, y = place
        things, others = self._things_near(x, y)
        least = min(others, self._space.disc_room(x, y, self._doubt) - self._margin)
        for thing in things:
            least = min(least, math.hypot(thing.x - x, thing.y - y) - thing.radius - thing.room)
        least -= self._outline.half_width
        return least if least >= self._due(Pose(x, y, 0.0)) else -math.inf

    def unknown_at(self, place: XY) -> float:
        """Return how much of the ground at a place (m) nobody knows to be free, and the robot would go on blindly: 0 to
        1."""
        if self._explored is None:
            return 0.0
        share = self._unknown.get(place)
        if share is None:
            share = self._unknown[place] = self._explored.unknown(*place)
        return share

    def unknown(self, pose: Pose) -> float:
        """Return the same of the ground at a pose, under the jaws as well: the greater of both shares."""
        if self._explored is None:
            return 0.0
        share = self._unknown_ahead.get(pose)
        if share is None:
            ahead = self._explored.unknown_under(pose, self._outline.parts[-1])
            share = self._unknown_ahead[pose] = max(ahead, self.unknown_at(pose[:2]))
        return share

    def unknown_way(self, start: XY, end: XY) -> float:
        """Return how much (m) of a straight way ahead nobody knows to be free, and the robot would go blindly."""
        if self._explored is None:
            return 0.0
        way = math.dist(start, end)
        count = max(1, math.ceil(way / CELL))
        dx, dy = (end[0] - start[0]) / count, (end[1] - start[1]) / count
        heading = math.atan2(dy, dx)
        poses = [Pose(start[0] + (at + 0.5) * dx, start[1] + (at + 0.5) * dy, heading) for at in range(count)]
        return way / count * sum([self.unknown(pose) for pose in poses])

    def _things_near(self, x: float, y: float) -> tuple[list[Thing], float]:
        """Return the things that come into question at a place, and how far from it the others' room is, at least."""
        column, row = math.floor(x / TILE), math.floor(y / TILE)
        tile = self._nearby.get((column, row))
        if tile is None:
            middle, near, others = ((column + 0.5) * TILE, (row + 0.5) * TILE), [], math.inf
            for thing in self._things:
                away = math.dist(middle, (thing.x, thing.y)) - thing.radius - thing.room - _HALF_DIAGONAL
                if away < self._outline.radius + BEYOND:
                    near.append(thing)
                else:
                    others = min(others, away)
            tile = self._nearby[column, row] = (near, others)
        return tile

    def _may_be(self, room: float, pose: Pose) -> bool:
        """Tell whether the outline may be at a pose with so much room (m) beyond what is due.

        Doubt of one wall, in which it begins, lets nothing into another.
        """
        if room < self._due(pose):
            return False
        return self._lacking == 0.0 or self._space.room(self._outline, pose) >= self._touching

    def _due(self, pose: Pose) -> float:
        if self._lacking == 0.0:
            return 0.0
        return min(0.0, self._lacking + math.hypot(pose.x - self._start.x, pose.y - self._start.y))

    def along(self, pose: Pose, way: float) -> float | None:
        """Return the least room (m) beyond what is due on a straight way (m, backwards negative); None: it is barred.

        No part of the outline goes farther than its middle, so that as much way as there is room needs no look.
        """
        found = self._narrowest(pose, way)
        return None if found is None else found[0]

    def narrowest(self, pose: Pose, way: float) -> float | None:
        """Return where (m, backwards negative) on a straight way there is least room; None: it is barred."""
        found = self._narrowest(pose, way)
        return None if found is None else found[1]

    def _narrowest(self, pose: Pose, way: float) -> tuple[float, float] | None:
        gone, least, c, s = 0.0, (math.inf, 0.0), math.cos(pose.heading), math.sin(pose.heading)
        while True:
            signed = math.copysign(gone, way)
            there = Pose(pose.x + signed * c, pose.y + signed * s, pose.heading)
            room = self.at(there)
            if not self._may_be(room, there):
                return None
            if room < least[0]:
                least = room, signed
            if gone >= abs(way):
                return least
            gone = min(abs(way), gone + max(GRAIN, room))

    def can_turn(self, pose: Pose, angle: float) -> bool:
        """Tell whether the outline may turn on the spot by an angle (rad, left positive)."""
        turned, radius = 0.0, self._outline.radius
        while True:
            there = Pose(pose.x, pose.y, pose.heading + math.copysign(turned, angle))
            room = self.at(there)
            if not self._may_be(room, there):
                return False
            if turned >= abs(angle):
                return True
            turned = min(abs(angle), turned + max(GRAIN, room) / (radius + self._doubt.worst))


def _apart(outline: BodyOutline, ahead: float, left: float) -> float:
    """Return how far (m) a point in the robot's frame is from the outline; 0 within it."""
    nearest = math.inf
    for part in outline.parts:
        x = max(part.back - ahead, ahead - part.front, 0.0)
        y = max(abs(left) - part.half_width, 0.0)
        nearest = min(nearest, math.hypot(x, y))
    return nearest
