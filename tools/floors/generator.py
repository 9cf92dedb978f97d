"""Floors by a seed: rooms, partitions with doorways, posts that the map has and that it has not, objects anywhere.

    python tools/floors/generator.py SEED [--robot cart]

writes the errand file and the bench file of a floor into `runs/floors/`, and prints the command that rehearses it. The
same seed and robot give the same floor. Measures that a robot needs room for are its own: a doorway's free width is its
body's and 15 cm at least.
"""

import argparse
import math
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from typing import Any, NamedTuple

import yaml

from rover.files.load import load
from rover.files.robot import Body, Robot
from rover.geometry import distance_to_segment, inside

ROOT = Path(__file__).parents[2]
INTO = ROOT / "runs" / "floors"
ROBOTS: Mapping[str, Path] = {
    "cart": ROOT / "config" / "cart.yaml",
    **{
        name: ROOT / "tools" / "floors" / "robots" / f"{name}.yaml"
        for name in ("broad", "small", "overlooking", "narrow", "unranged")
    },
}
BEHAVIOUR = ROOT / "behaviours" / "collect.yaml"
LONGEST_MIN = 25

XY = tuple[float, float]
Segment = tuple[XY, XY]

DOOR = 0.15
"""A doorway's free width is at least the body's and this (m)."""
BY_WALL = 0.08
"""So far (m) from a wall, or two, objects stand that stand close to it."""
OBJECT = 0.05
KINDS = ("amber", "teal", "violet")
TRIALS = 60


class NoRoomError(Exception):
    """A draw for which there is no place; another one is made."""


class Rect(NamedTuple):
    """A rectangle along the axes (m)."""

    west: float
    south: float
    east: float
    north: float

    @property
    def corners(self) -> tuple[XY, XY, XY, XY]:
        """Its corners, counter-clockwise from the south-west."""
        west, south, east, north = self
        return (west, south), (east, south), (east, north), (west, north)

    def shrunk(self, by: float) -> "Rect":
        """Return the rectangle within, so far (m) from its sides."""
        return Rect(self.west + by, self.south + by, self.east - by, self.north - by)

    def holds(self, point: XY) -> bool:
        """Whether a point lies in it."""
        return self.west <= point[0] <= self.east and self.south <= point[1] <= self.north


NOWHERE = Rect(0.0, 0.0, 0.0, 0.0)


@dataclass(frozen=True)
class Size:
    """What room a robot needs (m): its width, from its middle to front and rear, and as it turns on the spot."""

    width: float
    front: float
    rear: float
    turning: float


def size_of(body: Body) -> Size:
    """Return what room a robot needs, with its jaws and what they hold."""
    front, rear = body.gripper_reach + 0.5 * OBJECT, 0.5 * body.length
    return Size(body.width, front, rear, math.hypot(max(front, rear), 0.5 * body.width))


@dataclass
class Floor:
    """A floor, in metres and degrees. All is there that the files of an errand have.

    Attributes:
        boundary: corners of the field.
        walls: of the map, by name.
        hidden_walls, hidden_posts: what the map has not; of a post its middle and radius.
        doorways: the free ways through partitions, from jamb to jamb.
        rooms: what partitions leave; ``closed`` are those of them without a way in.
        tray: its rectangle; ``entry`` (deg) and ``marker`` belong to it.
        start: pose (m, m, deg).
        objects: kind and place.
        expect: how many the errand says there are; None: it does not say.
    """

    boundary: list[XY] = field(default_factory=list)
    walls: dict[str, Segment] = field(default_factory=dict)
    hidden_walls: list[Segment] = field(default_factory=list)
    hidden_posts: list[tuple[float, float, float]] = field(default_factory=list)
    doorways: list[Segment] = field(default_factory=list)
    rooms: list[Rect] = field(default_factory=list)
    closed: list[Rect] = field(default_factory=list)
    tray: Rect = NOWHERE
    entry: int = 0
    marker: XY | None = None
    start: tuple[float, float, int] = (0.0, 0.0, 0)
    objects: list[tuple[str, float, float]] = field(default_factory=list)
    expect: int | None = None

    @property
    def solids(self) -> list[Segment]:
        """All walls, and posts as what runs through their middles."""
        return [*self.walls.values(), *self.hidden_walls]

    def clearance(self, point: XY) -> float:
        """Return how far (m) a point of the field is from its edge and from all that does not give way."""
        edges = zip(self.boundary, (*self.boundary[1:], self.boundary[0]), strict=True)
        walls = (distance_to_segment(point, *one) for one in (*edges, *self.solids))
        posts = (math.dist(point, (x, y)) - radius for x, y, radius in self.hidden_posts)
        nearest = min(*walls, *posts)
        return nearest if inside(point, self.boundary) else -nearest

    def from_doorways(self, point: XY) -> float:
        """Return how far (m) a point is from the nearest doorway."""
        return min((distance_to_segment(point, *one) for one in self.doorways), default=math.inf)


def generate(seed: int, body: Body) -> Floor:
    """Return the floor of a seed, for a robot of this body."""
    size = size_of(body)
    for attempt in range(1000):
        try:
            return _Drawing(Random(f"{seed}/{attempt}/floor"), size).floor
        except NoRoomError:
            continue
    raise NoRoomError(f"no floor for a robot that needs {size.turning:.2f} m to turn")


class _Drawing:
    """One try to draw a floor."""

    def __init__(self, draws: Random, size: Size) -> None:
        self._draws, self._size = draws, size
        self.floor = Floor()
        self._outside()
        for number in range(1, 1 + draws.choice((0, 1, 1, 2, 2, 3))):
            self._partition(number)
        self._tray()
        self._start()
        for number in range(1, 1 + draws.choice((0, 0, 1, 2))):
            self._post(number)
        for _ in range(draws.choice((0, 0, 1, 2))):
            self._hidden_post()
        if draws.random() < 0.3:
            self._hidden_wall()
        self._objects()

    def _uniform(self, low: float, high: float) -> float:
        """Draw a length (m), in whole centimetres."""
        return round(self._draws.uniform(low, max(low, high)), 2)

    def _tried(self, draw: Callable[[], Any], is_good: Callable[[Any], bool]) -> Any:
        for _ in range(TRIALS):
            if is_good(one := draw()):
                return one
        raise NoRoomError

    def _outside(self) -> None:
        """Draw the field: a rectangle, or one that lacks a corner, with walls along most of its sides."""
        draws, floor = self._draws, self.floor
        origin_x, origin_y = draws.choice(((0.0, 0.0), (0.0, 0.0), (-1.5, 2.0), (-3.0, -2.5)))
        width, depth = (
            self._uniform(max(2.5, 4.5 * self._size.turning), 8.0),
            self._uniform(max(2.0, 4.5 * self._size.turning), 6.0),
        )
        whole = Rect(origin_x, origin_y, origin_x + width, origin_y + depth)
        least = 3.2 * self._size.turning
        if draws.random() < 0.35 and min(width, depth) > 2.0 * least:
            self._without_corner(whole, self._uniform(least, width - least), self._uniform(least, depth - least))
        else:
            floor.boundary, floor.rooms = list(whole.corners), [whole]
        sides = list(zip(floor.boundary, (*floor.boundary[1:], floor.boundary[0]), strict=True))
        is_open = draws.randrange(len(sides)) if draws.random() < 0.12 else None
        floor.walls = {f"side_{at + 1}": side for at, side in enumerate(sides) if at != is_open}

    def _without_corner(self, whole: Rect, along: float, across: float) -> None:
        """Take a corner out, so wide and deep (m); what is left is two rooms with an open seam."""
        west, south, east, north = whole
        is_east, is_north = self._draws.random() < 0.5, self._draws.random() < 0.5
        x = round(east - along if is_east else west + along, 2)
        y = round(north - across if is_north else south + across, 2)
        long = Rect(west, south, x, north) if is_east else Rect(x, south, east, north)
        beyond = (x, east) if is_east else (west, x)
        short = Rect(beyond[0], south, beyond[1], y) if is_north else Rect(beyond[0], y, beyond[1], north)
        taken = (east if is_east else west, north if is_north else south)
        corners: list[XY] = []
        for corner in whole.corners:
            if corner != taken:
                corners.append(corner)
                continue
            turn = [(x, taken[1]), (x, y), (taken[0], y)]
            corners += turn if (corner[0] == east) != (corner[1] == north) else reversed(turn)
        self.floor.boundary = _rightly_ordered(corners)
        self.floor.rooms = [long, short]
        low, high = short.south, short.north
        self.floor.doorways = [((x, low), (x, high))]

    def _partition(self, number: int) -> None:
        """Divide the room that is the longest by a wall across it: with a doorway, a free end, two, or none."""
        draws, floor, turning = self._draws, self.floor, self._size.turning
        rooms = sorted(floor.rooms, key=lambda one: max(one.east - one.west, one.north - one.south))
        room = rooms[-1]
        is_upright = room.east - room.west >= room.north - room.south
        low, high = (room.west, room.east) if is_upright else (room.south, room.north)
        begin, end = (room.south, room.north) if is_upright else (room.west, room.east)
        least = 2.0 * turning + 0.5
        if high - low < 2.0 * least:
            return

        def point(at: float, along: float) -> XY:
            return (at, along) if is_upright else (along, at)

        def clear_of_doorways(at: float) -> bool:
            return all(floor.from_doorways(point(at, along)) > turning + 0.15 for along in (begin, end))

        try:
            at = self._tried(lambda: self._uniform(low + least, high - least), clear_of_doorways)
        except NoRoomError:
            return
        if is_upright:
            halves = [room._replace(east=at), room._replace(west=at)]
        else:
            halves = [room._replace(north=at), room._replace(south=at)]
        kind = draws.choices(("doorway", "free end", "two free ends", "closed"), (60, 18, 12, 10))[0]
        if kind == "closed" and all(self._has_way_in(half) for half in halves):
            kind = "doorway"
        pieces = self._pieces(kind, begin, end)
        for name, (one, other) in zip("abc", pieces, strict=False):
            floor.walls[f"partition_{number}{name}"] = (point(at, one), point(at, other))
        reached = begin
        for one, other in [*pieces, (end, end)]:
            if one > reached:
                floor.doorways.append((point(at, reached), point(at, one)))
            reached = other
        floor.rooms.remove(room)
        if kind == "closed":
            shut = [half for half in halves if not self._has_way_in(half)]
            floor.closed.append(shut[0])
            halves.remove(shut[0])
        floor.rooms += halves

    def _pieces(self, kind: str, begin: float, end: float) -> list[tuple[float, float]]:
        """Return what stands of a partition, from ``begin`` to ``end`` (m), of it."""
        draws, width = self._draws, self._size.width
        least, length = width + DOOR, end - begin
        if kind == "closed":
            return [(begin, end)]
        if kind == "two free ends":
            return [
                (
                    round(begin + self._uniform(least + 0.1, 0.4 * length), 2),
                    round(end - self._uniform(least + 0.1, 0.4 * length), 2),
                )
            ]
        if kind == "free end":
            gap = self._uniform(least + 0.2, max(least + 0.2, 0.5 * length))
            return [(begin, round(end - gap, 2))] if draws.random() < 0.5 else [(round(begin + gap, 2), end)]
        gap = (
            math.ceil(100.0 * least) / 100.0
            if draws.random() < 0.5
            else math.ceil(100.0 * least) / 100.0 + self._uniform(0.0, 0.35)
        )
        at = draws.choice((begin, end - gap, None, None, None, None))
        at = self._uniform(begin + 0.15, end - gap - 0.15) if at is None else at
        pieces = [(begin, round(at, 2)), (round(at + gap, 2), end)]
        return [one for one in pieces if one[1] - one[0] > 0.01]

    def _has_way_in(self, room: Rect) -> bool:
        around = room.shrunk(-0.01)
        return any(around.holds(one) or around.holds(other) for one, other in self.floor.doorways)

    def _tray(self) -> None:
        """Draw the tray, with room before it, against a wall, in a corner or amid a room; some have one slot only."""
        floor, is_small = self.floor, self._draws.random() < 0.08

        def drawn() -> tuple[Rect, int, Rect] | None:
            return self._tray_in(self._draws.choice(floor.rooms), is_small)

        tray, floor.entry, _ = self._tried(drawn, lambda one: one is not None and self._is_tray_free(*one))
        floor.tray = tray
        if self._draws.random() < 0.6:
            angle = math.radians(floor.entry)
            middle_x, middle_y = 0.5 * (tray.west + tray.east), 0.5 * (tray.south + tray.north)
            half_x, half_y = 0.5 * (tray.east - tray.west) + 0.03, 0.5 * (tray.north - tray.south) + 0.03
            reach = min(half_x / max(1e-9, abs(math.cos(angle))), half_y / max(1e-9, abs(math.sin(angle))))
            floor.marker = (round(middle_x + reach * math.cos(angle), 2), round(middle_y + reach * math.sin(angle), 2))

    def _tray_in(self, room: Rect, is_small: bool) -> tuple[Rect, int, Rect] | None:
        """Return a tray in a room, its entry (deg), and what has to be free before it; None: it has no room."""
        draws, size = self._draws, self._size
        along, across = (0.28, 0.28) if is_small else (self._uniform(0.5, 1.2), self._uniform(0.5, 1.2))
        before = size.front + size.rear + 0.4
        entry = draws.choice((0, 90, 180, 270))
        where = draws.choices(("wall", "corner", "amid"), (45, 25, 30))[0]
        # As if it were entered eastwards, in a room that is turned; the tray is turned back with it.
        turned = _turned_rect(room, -entry)
        beside = self._uniform(max(0.03, 0.5 * size.width - 0.05), 0.5 * size.width + 0.1)
        if where == "amid":
            east = self._uniform(turned.west + before + along, turned.east - 0.3)
        else:
            east = round(turned.east - self._uniform(0.04, 0.16), 2)
        if where == "corner":
            south = round(turned.south + beside if draws.random() < 0.5 else turned.north - beside - across, 2)
        else:
            south = self._uniform(turned.south + beside, turned.north - beside - across)
        tray = Rect(round(east - along, 2), south, east, round(south + across, 2))
        free = Rect(tray.west - before, tray.south - 0.02, tray.east, tray.north + 0.02)
        around = turned.shrunk(0.02)
        if not (around.holds(free.corners[0]) and around.holds(free.corners[2])):
            return None
        tray, free = _turned_rect(tray, entry), _turned_rect(free, entry)
        if where == "amid" and draws.random() < 0.7:
            entry = (entry + draws.choice((-30, -20, 20, 30, 45))) % 360
            free = tray.shrunk(-before)
            if not (room.holds(free.corners[0]) and room.holds(free.corners[2])):
                return None
        return tray, entry, free

    def _is_tray_free(self, tray: Rect, entry: int, free: Rect) -> bool:
        """Whether nothing stands in a tray, nor before it, nor it in a doorway."""
        around = tray.shrunk(-0.02)
        in_the_way = any(_touches(wall, free) or _touches(wall, around) for wall in self.floor.walls.values())
        wide = tray.shrunk(-self._size.width - 0.3)
        return not in_the_way and not any(_touches(doorway, wide) for doorway in self.floor.doorways)

    def _start(self) -> None:
        """Draw where the robot is set down: anywhere that is free, in any heading."""
        floor, draws = self.floor, self._draws

        def drawn() -> XY:
            room = draws.choice(floor.rooms)
            return self._uniform(room.west, room.east), self._uniform(room.south, room.north)

        def is_free(point: XY) -> bool:
            return floor.clearance(point) > self._size.turning + 0.06 and not floor.tray.shrunk(
                -self._size.turning - 0.05
            ).holds(point)

        x, y = self._tried(drawn, is_free)
        floor.start = (x, y, draws.choice((0, 90, 180, 270, draws.randrange(360), draws.randrange(360))))

    def _is_out_of_the_way(self, point: XY, radius: float) -> bool:
        """Whether a post may stand there: off the start, the tray and the way into it, and off doorways."""
        floor, size = self.floor, self._size
        before = size.front + size.rear + 0.4
        return (
            math.dist(point, floor.start[:2]) > size.turning + radius + 0.08
            and not floor.tray.shrunk(-before - radius).holds(point)
            and floor.from_doorways(point) > size.turning + radius + 0.2
            and floor.clearance(point) > radius
        )

    def _somewhere(self) -> XY:
        west, south = (min(one) for one in zip(*self.floor.boundary, strict=True))
        east, north = (max(one) for one in zip(*self.floor.boundary, strict=True))
        return self._uniform(west, east), self._uniform(south, north)

    def _post(self, number: int) -> None:
        """Draw a square post that the map has, if there is room."""
        half = self._uniform(0.04, 0.12)
        try:
            x, y = self._tried(self._somewhere, lambda point: self._is_out_of_the_way(point, 1.5 * half))
        except NoRoomError:
            return
        corners = Rect(round(x - half, 2), round(y - half, 2), round(x + half, 2), round(y + half, 2)).corners
        for name, one, other in zip("abcd", corners, (*corners[1:], corners[0]), strict=True):
            self.floor.walls[f"post_{number}{name}"] = (one, other)

    def _hidden_post(self) -> None:
        radius = self._uniform(0.03, 0.08)
        try:
            x, y = self._tried(self._somewhere, lambda point: self._is_out_of_the_way(point, radius))
        except NoRoomError:
            return
        self.floor.hidden_posts.append((x, y, radius))

    def _hidden_wall(self) -> None:
        length, is_upright = self._uniform(0.3, 0.8), self._draws.random() < 0.5
        half = 0.5 * length

        def ends(x: float, y: float) -> Segment:
            dx, dy = (0.0, half) if is_upright else (half, 0.0)
            return (round(x - dx, 2), round(y - dy, 2)), (round(x + dx, 2), round(y + dy, 2))

        def is_good(point: XY) -> bool:
            return all(self._is_out_of_the_way(one, 0.02) for one in (*ends(*point), point))

        try:
            self.floor.hidden_walls.append(ends(*self._tried(self._somewhere, is_good)))
        except NoRoomError:
            return

    def _objects(self) -> None:
        """Draw one to six objects, one in a closed room mostly, where there is one."""
        draws, floor = self._draws, self.floor
        rooms = [*floor.rooms, *floor.closed]
        area = sum((one.east - one.west) * (one.north - one.south) for one in rooms)
        count = max(1, min(6, round(0.2 * area) + draws.randrange(-1, 3)))
        ways: list[Callable[[], XY]] = []
        if floor.closed and draws.random() < 0.7:
            ways.append(lambda: self._inside(draws.choice(floor.closed)))
        drawn = (self._anywhere, self._by_a_wall, self._in_a_corner, self._beside_another, self._at_the_tray)
        ways += draws.choices(drawn, (45, 20, 12, 15, 5), k=count - len(ways))
        for way in ways:
            try:
                place = self._tried(way, self._may_stand)
            except NoRoomError:
                continue
            floor.objects.append((draws.choice(KINDS), *place))
        if not floor.objects:
            raise NoRoomError
        floor.expect = len(floor.objects) if draws.random() < 0.5 else None

    def _inside(self, room: Rect) -> XY:
        return self._uniform(room.west + 0.1, room.east - 0.1), self._uniform(room.south + 0.1, room.north - 0.1)

    def _anywhere(self) -> XY:
        return self._inside(self._draws.choice(self.floor.rooms))

    def _by_a_wall(self) -> XY:
        (x, y), (end_x, end_y) = self._draws.choice(self.floor.solids)
        length = math.dist((x, y), (end_x, end_y))
        along, side = self._draws.random(), self._draws.choice((BY_WALL, -BY_WALL)) / length
        return (
            round(x + along * (end_x - x) - side * (end_y - y), 2),
            round(y + along * (end_y - y) + side * (end_x - x), 2),
        )

    def _in_a_corner(self) -> XY:
        at = self._draws.randrange(4)
        room = self._draws.choice(self.floor.rooms)
        one, other = (room.shrunk(self._uniform(BY_WALL, 2.0 * BY_WALL)).corners[at] for _ in "xy")
        return one[0], other[1]

    def _beside_another(self) -> XY:
        if not self.floor.objects:
            return self._anywhere()
        _, x, y = self._draws.choice(self.floor.objects)
        apart, angle = self._uniform(0.06, 0.12), self._draws.uniform(0.0, math.tau)
        return round(x + apart * math.cos(angle), 2), round(y + apart * math.sin(angle), 2)

    def _at_the_tray(self) -> XY:
        """Return a place in the tray, or within 6 cm of it."""
        return self._inside(self.floor.tray.shrunk(-0.16))

    def _may_stand(self, point: XY) -> bool:
        floor = self.floor
        return (
            floor.clearance(point) > 0.5 * OBJECT + 0.02
            and math.dist(point, floor.start[:2]) > self._size.turning + 0.06
            and all(math.dist(point, one[1:]) > OBJECT + 0.008 for one in floor.objects)
        )


def _rightly_ordered(corners: list[XY]) -> list[XY]:
    """Return the corners of a field that lacks one, in their order: one side is along x, the next along y."""
    left, ordered = corners[1:], corners[:1]
    while left:
        x, y = ordered[-1]
        is_along_x = len(ordered) % 2 == 1
        beside = [one for one in left if (one[1] == y if is_along_x else one[0] == x)]
        following = min(beside, key=lambda one: math.dist(one, (x, y)))
        left.remove(following)
        ordered.append(following)
    return ordered


def _turned(point: XY, degrees: int) -> XY:
    x, y = point
    for _ in range(degrees // 90 % 4):
        x, y = -y, x
    return x, y


def _turned_rect(rect: Rect, degrees: int) -> Rect:
    """Return a rectangle turned about the origin by quarters (deg, counter-clockwise)."""
    xs, ys = zip(*(_turned(corner, degrees) for corner in rect.corners), strict=True)
    return Rect(min(xs), min(ys), max(xs), max(ys))


def _touches(wall: Segment, rect: Rect) -> bool:
    """Whether a wall along an axis has a point in common with a rectangle."""
    (x, y), (end_x, end_y) = wall
    return (
        min(x, end_x) <= rect.east
        and max(x, end_x) >= rect.west
        and min(y, end_y) <= rect.north
        and max(y, end_y) >= rect.south
    )


def _length(metres: float) -> str:
    return f"{round(100.0 * metres, 1):g} cm"


def _point(point: Sequence[float]) -> list[str]:
    return [_length(one) for one in point]


def errand_of(floor: Floor, title: str, robot: str, bench: str) -> dict[str, Any]:
    """Return the errand file: its title, and the paths of robot and bench file in it."""
    tray, (x, y, heading) = floor.tray, floor.start
    zone = {
        "x": _length(0.5 * (tray.west + tray.east)),
        "y": _length(0.5 * (tray.south + tray.north)),
        "width": _length(tray.east - tray.west),
        "depth": _length(tray.north - tray.south),
        "entry": f"{floor.entry} deg",
        **({} if floor.marker is None else {"marker": _point(floor.marker)}),
    }
    return {
        "errand": title,
        "files": {"robot": robot, "behaviour": "../../behaviours/collect.yaml", "bench": bench},
        "field": {
            "boundary": [_point(one) for one in floor.boundary],
            "start": {"x": _length(x), "y": _length(y), "heading": f"{heading} deg"},
            "walls": {name: [_point(one) for one in ends] for name, ends in floor.walls.items()},
            "zone": zone,
        },
        "kinds": {kind: {"lid": kind, "height": "60 mm", "width": "50 mm"} for kind in KINDS},
        **({} if floor.expect is None else {"expect": floor.expect}),
        "settings": {"longest": f"{LONGEST_MIN} min"},
    }


def bench_of(floor: Floor, title: str) -> dict[str, Any]:
    """Return the bench file, of the mild kind: what is not on the map, and the objects."""
    return {
        "bench": title,
        "objects": [{"kind": kind, "x": _length(x), "y": _length(y)} for kind, x, y in floor.objects],
        "walls": [[_point(one) for one in ends] for ends in floor.hidden_walls],
        "obstacles": [
            {"x": _length(x), "y": _length(y), "radius": _length(radius)} for x, y, radius in floor.hidden_posts
        ],
    }


def robot_named(name: str) -> Robot:
    """Return one of the six robots."""
    model = load(ROBOTS[name], "robot").model
    assert isinstance(model, Robot)
    return model


def write(seed: int, robot: str, into: Path = INTO) -> Path:
    """Write the files of a floor, and return the errand's path."""
    floor = generate(seed, robot_named(robot).body)
    into.mkdir(parents=True, exist_ok=True)
    title = f"Floor {seed} for {robot}"
    errand, bench = into / f"{robot}-{seed}.yaml", into / f"{robot}-{seed}-bench.yaml"
    of_robot = Path(*[".."] * len(into.relative_to(ROOT).parts)) / ROBOTS[robot].relative_to(ROOT)
    _put(errand, errand_of(floor, title, str(of_robot), bench.name))
    _put(bench, {key: value for key, value in bench_of(floor, title).items() if value})
    return errand


def _put(path: Path, tree: Mapping[str, Any]) -> None:
    """Write a file at once: others may be reading it."""
    new = path.with_suffix(".new")
    new.write_text(yaml.safe_dump(tree, sort_keys=False, default_flow_style=None, width=120))
    new.replace(path)


def command_to_make(seed: int, robot: str) -> str:
    """Return the command that writes a floor's files."""
    return f"python tools/floors/generator.py {seed} --robot {robot}"


def main(words: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("seed", type=int)
    parser.add_argument("--robot", choices=list(ROBOTS), default="cart")
    given = parser.parse_args(words)
    errand = write(given.seed, given.robot)
    print(f"rover rehearse {errand.relative_to(ROOT)} --seed {given.seed}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
