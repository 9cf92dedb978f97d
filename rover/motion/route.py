"""Ways round things: from here to there past circles (objects, things to keep clear of) and walls, inside the boundary.

A straight line where it is free; otherwise the nearer of two detours past the first thing in the way, each
looked at again in the same manner, a few levels deep. Walls are passed beyond their ends, and so are the boundary's
sides where the field is not convex.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from rover.estimate.field import Ground
from rover.geometry import XY, cross, distance_to_segment, inside

DEEPEST = 5
BESIDE = 1.12
"""A detour passes a thing at this many times its radius."""


@dataclass(frozen=True)
class Circle:
    """A round thing to keep away from: middle and radius (m), the robot's own half width included."""

    x: float
    y: float
    radius: float


def route(start: XY, goal: XY, circles: Sequence[Circle], ground: Ground, margin: float) -> list[XY] | None:
    """Return the points to drive to, the goal last, or None where no way was found.

    Args:
        start: where the robot is.
        goal: where it is to go.
        circles: things to keep away from; one that holds the start or the goal only counts as far as it can.
        ground: the field.
        margin: detours stay inside its boundary and off its walls by so much (m).
    """
    kept = [circle for circle in (_shrunk(circle, start, goal) for circle in circles) if circle.radius > 0.02]
    is_within = inside(start, ground.boundary) and inside(goal, ground.boundary)
    barriers = [*ground.walls, *(ground.edges if is_within else ())]
    return _route(start, goal, _Map(kept, barriers, ground, margin), 0)


@dataclass(frozen=True)
class _Map:
    circles: list[Circle]
    barriers: list[tuple[XY, XY]]
    ground: Ground
    margin: float


def _shrunk(circle: Circle, start: XY, goal: XY) -> Circle:
    room = min(math.hypot(circle.x - x, circle.y - y) for x, y in (start, goal)) - 0.01
    return circle if room >= circle.radius else Circle(circle.x, circle.y, room)


def _route(start: XY, goal: XY, known: _Map, depth: int) -> list[XY] | None:
    points = _detours(start, goal, known)
    if points is None:
        return [goal]
    if depth >= DEEPEST:
        return None
    ways = []
    for point in points:
        if known.ground.clearance(*point) < known.margin:
            continue
        first = _route(start, point, known, depth + 1)
        rest = _route(point, goal, known, depth + 1) if first else None
        if first and rest:
            ways.append(first + rest)
    return min(ways, key=lambda way: length([start, *way]), default=None)


def _detours(start: XY, goal: XY, known: _Map) -> list[XY] | None:
    """Return the points past the first thing in the way, None where nothing is."""
    blocking = _first_in_the_way(start, goal, known.circles)
    if blocking is not None:
        return _beside(start, goal, blocking)
    crossed = next((barrier for barrier in known.barriers if cross(start, goal, *barrier)), None)
    if crossed is None:
        return None
    return [point for end in crossed for point in _beside(start, goal, Circle(*end, known.margin))]


def length(points: Sequence[XY]) -> float:
    """Return the length (m) of a line through points."""
    return sum(math.dist(a, b) for a, b in pairwise(points))


def _first_in_the_way(start: XY, goal: XY, circles: list[Circle]) -> Circle | None:
    blocking = [one for one in circles if distance_to_segment((one.x, one.y), start, goal) < one.radius]
    return min(blocking, key=lambda one: math.hypot(one.x - start[0], one.y - start[1]), default=None)


def _beside(start: XY, goal: XY, circle: Circle) -> list[XY]:
    heading = math.atan2(goal[1] - start[1], goal[0] - start[0])
    reach = circle.radius * BESIDE
    return [
        (circle.x + reach * math.cos(heading + side), circle.y + reach * math.sin(heading + side))
        for side in (math.pi / 2, -math.pi / 2)
    ]
