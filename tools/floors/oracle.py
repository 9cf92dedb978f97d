"""What can be reached on a floor as it truly stands: a flood over x, y and heading. Nothing of it is the planner's.

Poses are 5 cm apart in 16 headings, those of steps to neighbouring poses, so that each step goes straight along its
heading; a step is shorter than the body, so that what the body sweeps lies within the outlines at both ends. Turns on
the spot are looked at every 7 degrees or so. The outline is that of the bench: a rectangle for the body and one for the
jaws. Steps backwards are steps forwards the other way, so that where the robot can go it can come back from.
"""

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from rover.devices.jaws import JawsSize
from rover.files.errand import Zone
from rover.files.robot import Body

XY = tuple[float, float]
Mask = NDArray[np.bool_]
Numbers = NDArray[np.float64]

CELL = 0.05
STEPS = ((1, 0), (2, 1), (1, 1), (1, 2), (0, 1), (-1, 2), (-1, 1), (-2, 1))
STEPS += tuple((-x, -y) for x, y in STEPS)  # type: ignore[assignment]
HEADINGS = tuple(math.atan2(y, x) % math.tau for x, y in STEPS)
BETWEEN = 3
"""Outlines looked at from one heading to the next, that one left out."""
RUN_UP = 0.25
"""The last straight way (m) to an object, on which its place is not corrected any more."""
APPROACHES = 72
BEFORE_TRAY = 0.1
"""So far (m) outside the tray the jaws' middle is when the robot drives in."""
TOUCHES = 1e-6
"""Nearer than this (m) two things touch."""
IN_TRAY = 0.05
"""So far (m) inside its edge an object is at least to be set down."""


class Margins(NamedTuple):
    """Room (m) that the outline must have: while it travels, and on the last straight way to an object or slot."""

    travelling: float
    closing_in: float


SAFE = Margins(0.04, 0.02)
"""With what a position known to 2 cm leaves: a doorway of the body's width and 15 cm is passed 5 cm off both jambs at
least, if its axis lies between two rows of poses."""
BARE = Margins(0.005, 0.0)


class Circle(NamedTuple):
    """A post, or an object to fetch: its middle and radius (m)."""

    x: float
    y: float
    radius: float


class Part(NamedTuple):
    """A rectangle of the outline in the robot's frame (m)."""

    back: float
    front: float
    half_width: float

    @property
    def radius(self) -> float:
        """Of the circle round the robot's middle that holds it (m)."""
        return math.hypot(max(abs(self.back), abs(self.front)), self.half_width)


class Robot(NamedTuple):
    """What of a robot matters here: body and jaws, and how far ahead of its middle what it holds stands (m)."""

    parts: tuple[Part, ...]
    reach: float


def robot_of(body: Body, jaws: JawsSize, widest: float) -> Robot:
    """Return the robot whose jaws are open, or hold something so wide (m)."""
    half, reach = 0.5 * body.length, body.gripper_reach
    fingers = Part(half, reach + max(jaws.tips, 0.5 * widest), jaws.half_width)
    return Robot((Part(-half, half, 0.5 * body.width), fingers), reach)


@dataclass(frozen=True)
class Place:
    """A floor as it truly stands.

    Attributes:
        edges: of the field, which no part of the robot may be beyond.
        walls: each from one end to the other (m).
        posts: round things that do not give way.
        objects: to fetch, by id.
        start: pose at which the robot is set down (m, m, rad).
        zone: the tray; None: there is none.
        entry: heading (rad) in which the robot drives into it.
    """

    edges: Sequence[tuple[XY, XY]]
    walls: Sequence[tuple[XY, XY]]
    posts: Sequence[Circle]
    objects: Mapping[str, Circle]
    start: tuple[float, float, float]
    zone: Zone | None = None
    entry: float = 0.0


class Reach(NamedTuple):
    """What can be reached: objects by id, and whether something can then be set down in the tray."""

    objects: frozenset[str]
    tray: bool


def reach(place: Place, robot: Robot, margins: Margins = SAFE) -> Reach:
    """Return what can be reached: also what can only once something else is out of the way.

    An object is out of the way when it can be reached itself and there is a way to the tray.
    """
    floor = _Floor(place, robot, margins)
    left = dict(place.objects)
    while True:
        can_be = floor.flooded(left.values())
        tray = place.zone is not None and floor.enters(place.zone, place.entry, can_be, left)
        fetched = {name for name in left if floor.takes(name, can_be, left)}
        left = {name: one for name, one in left.items() if name not in fetched}
        if not fetched or not left or (place.zone is not None and not tray):
            return Reach(frozenset(place.objects) - frozenset(left), tray)


class _Floor:
    """The grid of poses, and what is in the way of which."""

    def __init__(self, place: Place, robot: Robot, margins: Margins) -> None:
        self._place, self._robot, self._margins = place, robot, margins
        xs, ys = zip(*(point for edge in place.edges for point in edge), strict=True)
        self._xs = np.arange(min(xs), max(xs) + CELL, CELL)
        self._ys = np.arange(min(ys), max(ys) + CELL, CELL)
        self._angles = [angle for at in range(len(HEADINGS)) for angle in _angles_from(at)]
        self._solid = self._free_of_solids()

    def flooded(self, objects: Iterable[Circle]) -> Mask:
        """Return the poses, by heading, column and row, that the robot can come to from its start."""
        free = self._solid.copy()
        for one in objects:
            self._keep_off(free, _Thing(((one.x, one.y),) * 2, one.radius + self._margins.travelling))
        turns = free.reshape(len(HEADINGS), BETWEEN, *free.shape[1:]).all(axis=1)
        free = free[::BETWEEN]
        x, y, heading = self._place.start
        can_be = np.zeros_like(free)
        for at, column, row in self._near(x, y, heading):
            can_be[at, column, row] = free[at, column, row]
        return _spread(can_be, free, turns)

    def takes(self, name: str, can_be: Mask, objects: Mapping[str, Circle]) -> bool:
        """Whether there is a straight way to an object, open jaws first, that begins where the robot can be."""
        target = objects[name]
        headings = math.tau / APPROACHES * np.arange(APPROACHES)
        ways = _Ways(
            *(np.full(APPROACHES, each) for each in (target.x, target.y)), headings, np.full(APPROACHES, RUN_UP)
        )
        return self._has_free(ways, can_be, [one for other, one in objects.items() if other != name])

    def enters(self, zone: Zone, entry: float, can_be: Mask, objects: Mapping[str, Circle]) -> bool:
        """Whether there is a straight way into the tray, along its entry, that begins where the robot can be."""
        across, along = (0.5 * side - IN_TRAY for side in (zone.width, zone.depth))
        xs, ys = (np.arange(-most, most + 1e-9, CELL) if most > 0.0 else np.zeros(1) for most in (across, along))
        x, y = (each.ravel() for each in np.meshgrid(zone.x + xs, zone.y + ys))
        ways = _Ways(x, y, np.full(x.shape, entry), _way_out(zone, x, y, entry) + BEFORE_TRAY)
        return self._has_free(ways, can_be, objects.values())

    def _has_free(self, ways: "_Ways", can_be: Mask, others: Iterable[Circle]) -> bool:
        """Whether one of some ways begins where the robot can be, and is free."""
        poses = ways.poses(self._robot.reach)
        begins = zip(*(each[:, -1].tolist() for each in poses), strict=True)
        can_begin = np.array([any(can_be[at] for at in self._near(*begin)) for begin in begins])
        x, y, heading = (each[can_begin] for each in poses)
        margin, place = self._margins.closing_in, self._place
        things = [
            *(_Thing(edge, 0.0) for edge in place.edges),
            *(_Thing(wall, margin) for wall in place.walls),
            *(_Thing(((one.x, one.y),) * 2, one.radius + margin) for one in (*place.posts, *others)),
        ]
        is_hit = np.zeros(x.shape, dtype=bool)
        for part in self._robot.parts:
            for thing in things:
                is_hit |= thing.is_hit(distance(part, x, y, heading, thing.ends))
        return bool((~is_hit.any(axis=1)).any())

    def _near(self, x: float, y: float, heading: float) -> Iterator[tuple[int, int, int]]:
        """Yield the poses of the grid round a pose: two headings, two columns and two rows."""
        column, row = int((x - self._xs[0]) // CELL), int((y - self._ys[0]) // CELL)
        after = next((at for at, angle in enumerate(HEADINGS) if angle > heading % math.tau), 0)
        for at in (after - 1, after):
            for beside in (column, column + 1):
                for above in (row, row + 1):
                    if 0 <= beside < len(self._xs) and 0 <= above < len(self._ys):
                        yield at % len(HEADINGS), beside, above

    def _free_of_solids(self) -> Mask:
        free = np.ones((len(self._angles), len(self._xs), len(self._ys)), dtype=bool)
        place, room = self._place, self._margins.travelling
        for edge in place.edges:
            self._keep_off(free, _Thing(edge, 0.0))
        for wall in place.walls:
            self._keep_off(free, _Thing(wall, room))
        for post in place.posts:
            self._keep_off(free, _Thing(((post.x, post.y),) * 2, post.radius + room))
        return free

    def _keep_off(self, free: Mask, thing: "_Thing") -> None:
        """Take the poses out in which the outline comes nearer to a thing than it may."""
        (x, y), (end_x, end_y) = thing.ends
        for part in self._robot.parts:
            about = part.radius + thing.room + CELL
            columns = slice(*np.searchsorted(self._xs, (min(x, end_x) - about, max(x, end_x) + about)))
            rows = slice(*np.searchsorted(self._ys, (min(y, end_y) - about, max(y, end_y) + about)))
            xs, ys = np.meshgrid(self._xs[columns], self._ys[rows], indexing="ij")
            for at, angle in enumerate(self._angles):
                free[at, columns, rows] &= ~thing.is_hit(distance(part, xs, ys, angle, thing.ends))


class _Thing(NamedTuple):
    """A segment (of no length: a point), from which an outline stays so far (m) away."""

    ends: tuple[XY, XY]
    room: float

    def is_hit(self, apart: Numbers) -> Mask:
        """Whether a rectangle at these distances (m) is too near."""
        return apart < max(self.room, TOUCHES)


class _Ways(NamedTuple):
    """Straight ways on which the jaws' middle comes to a point: (x, y), heading and length of each (m, rad)."""

    x: Numbers
    y: Numbers
    heading: Numbers
    length: Numbers

    def poses(self, reach: float) -> tuple[Numbers, Numbers, Numbers]:
        """Return x, y and heading at points of each way (its row), the last one first, 10 cm apart or less."""
        shares = np.linspace(0.0, 1.0, 2 + math.ceil(10.0 * float(self.length.max())))
        backs = reach + self.length[:, None] * shares
        x, y = (
            each[:, None] - backs * way(self.heading)[:, None] for each, way in ((self.x, np.cos), (self.y, np.sin))
        )
        return x, y, np.broadcast_to(self.heading[:, None], x.shape)


def _angles_from(at: int) -> Iterator[float]:
    """Yield a heading and those looked at on the way to the next one."""
    gap = (HEADINGS[(at + 1) % len(HEADINGS)] - HEADINGS[at]) % math.tau
    return (HEADINGS[at] + gap * share / BETWEEN for share in range(BETWEEN))


def _way_out(zone: Zone, x: Numbers, y: Numbers, entry: float) -> Numbers:
    """Return the way (m) from points of the tray back to its edge, against the entry."""
    ways = np.full(x.shape, np.inf)
    sides = ((x - zone.x, 0.5 * zone.width, -math.cos(entry)), (y - zone.y, 0.5 * zone.depth, -math.sin(entry)))
    for offset, half, along in sides:
        if abs(along) > 1e-9:
            ways = np.minimum(ways, (math.copysign(half, along) - offset) / along)
    return ways


def _spread(can_be: Mask, free: Mask, turns: Mask) -> Mask:
    """Let the flood run until it comes no farther."""
    count, known = len(HEADINGS), 0
    while (now := int(can_be.sum())) > known:
        known = now
        for at in range(count):
            after = (at + 1) % count
            can_be[after] |= can_be[at] & turns[at] & free[after]
        for at in reversed(range(count)):
            can_be[at] |= can_be[(at + 1) % count] & turns[at] & free[at]
        for at, (dx, dy) in enumerate(STEPS):
            for sign in (1, -1):
                while _step(can_be[at], free[at], sign * dx, sign * dy):
                    pass
    return can_be


def _step(can_be: Mask, free: Mask, dx: int, dy: int) -> bool:
    """Go one step from everywhere at once; tell whether that leads anywhere new."""
    columns, rows = can_be.shape
    to = slice(max(dx, 0), columns + min(dx, 0)), slice(max(dy, 0), rows + min(dy, 0))
    come_from = slice(max(-dx, 0), columns + min(-dx, 0)), slice(max(-dy, 0), rows + min(-dy, 0))
    new = can_be[come_from] & free[to] & ~can_be[to]
    can_be[to] |= new
    return bool(new.any())


def distance(part: Part, x: Numbers, y: Numbers, heading: float | Numbers, ends: tuple[XY, XY]) -> Numbers:
    """Return how far (m) a rectangle is from a segment, for each pose; 0 where they meet.

    Args:
        part: the rectangle, in the robot's frame.
        x: of the poses (m).
        y: the same, an array of the same shape.
        heading: of all of them, or an array too (rad).
        ends: of the segment (m, field frame).
    """
    c, s = np.cos(heading), np.sin(heading)
    (ax, ay), (bx, by) = (((px - x) * c + (py - y) * s, (py - y) * c - (px - x) * s) for px, py in ends)
    apart = np.minimum(_from_point(part, ax, ay), _from_point(part, bx, by))
    if ends[0] == ends[1]:
        return apart
    for corner_x in (part.back, part.front):
        for corner_y in (part.half_width, -part.half_width):
            apart = np.minimum(apart, _from_segment(corner_x, corner_y, ax, ay, bx, by))
    return np.where(_meets(part, ax, ay, bx, by), 0.0, apart)


def _from_point(part: Part, x: Numbers, y: Numbers) -> Numbers:
    dx = np.maximum(np.maximum(part.back - x, x - part.front), 0.0)
    return np.hypot(dx, np.maximum(np.abs(y) - part.half_width, 0.0))


def _from_segment(x: float, y: float, ax: Numbers, ay: Numbers, bx: Numbers, by: Numbers) -> Numbers:
    dx, dy = bx - ax, by - ay
    along = np.clip(((x - ax) * dx + (y - ay) * dy) / np.maximum(dx * dx + dy * dy, TOUCHES**2), 0.0, 1.0)
    return np.hypot(x - ax - along * dx, y - ay - along * dy)


def _meets(part: Part, ax: Numbers, ay: Numbers, bx: Numbers, by: Numbers) -> Mask:
    """Whether segments and a rectangle have a point in common, by the axis that would separate them."""
    low_x, high_x = np.minimum(ax, bx), np.maximum(ax, bx)
    low_y, high_y = np.minimum(ay, by), np.maximum(ay, by)
    beside = (high_x < part.back) | (low_x > part.front) | (high_y < -part.half_width) | (low_y > part.half_width)
    nx, ny = ay - by, bx - ax
    middle_x = 0.5 * (part.back + part.front)
    off = np.abs((middle_x - ax) * nx - ay * ny)
    return ~beside & (off <= 0.5 * (part.front - part.back) * np.abs(nx) + part.half_width * np.abs(ny))
