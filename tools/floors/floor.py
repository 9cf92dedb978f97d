"""A floor in measures, and what a robot needs room for."""

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from random import Random
from typing import NamedTuple, TypeVar

from rover.files.robot import Body
from rover.geometry import distance_to_segment, inside

XY = tuple[float, float]
Segment = tuple[XY, XY]
T = TypeVar("T")

OBJECT = 0.05
"""Width of what there is to fetch (m)."""
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
        walls: of the map, by name; ``posts`` are those rectangles that stand with their walls among them.
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
    posts: list[Rect] = field(default_factory=list)
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
        is_in_post = any(post.holds(point) for post in self.posts)
        return nearest if inside(point, self.boundary) and not is_in_post else -nearest

    def from_doorways(self, point: XY) -> float:
        """Return how far (m) a point is from the nearest doorway."""
        return min((distance_to_segment(point, *one) for one in self.doorways), default=math.inf)


@dataclass
class Sketch:
    """A floor as it is being drawn, for a robot of a size."""

    draws: Random
    size: Size
    floor: Floor = field(default_factory=Floor)

    def uniform(self, low: float, high: float) -> float:
        """Draw a length (m), in whole centimetres."""
        return round(self.draws.uniform(low, max(low, high)), 2)

    def tried(self, draw: Callable[[], T], is_good: Callable[[T], bool]) -> T:
        """Draw until it is good.

        Raises:
            NoRoomError: it was not in so many trials.
        """
        for _ in range(TRIALS):
            if is_good(one := draw()):
                return one
        raise NoRoomError


def _turned(point: XY, degrees: int) -> XY:
    x, y = point
    for _ in range(degrees // 90 % 4):
        x, y = -y, x
    return x, y


def turned_rect(rect: Rect, degrees: int) -> Rect:
    """Return a rectangle turned about the origin by quarters (deg, counter-clockwise)."""
    xs, ys = zip(*(_turned(corner, degrees) for corner in rect.corners), strict=True)
    return Rect(min(xs), min(ys), max(xs), max(ys))


def touches(wall: Segment, rect: Rect) -> bool:
    """Whether a wall along an axis has a point in common with a rectangle."""
    (x, y), (end_x, end_y) = wall
    return (
        min(x, end_x) <= rect.east
        and max(x, end_x) >= rect.west
        and min(y, end_y) <= rect.north
        and max(y, end_y) >= rect.south
    )
