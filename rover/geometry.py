"""Plane geometry in the field frame: points, poses, polygons and segments. Metres and radians."""

import math
from collections.abc import Sequence
from typing import NamedTuple

XY = tuple[float, float]


class Pose(NamedTuple):
    """Position (m) and heading (rad) in the field frame."""

    x: float
    y: float
    heading: float

    def beside(self, ahead: float, left: float) -> XY:
        """Return the point that is so far ahead and to the left (m)."""
        c, s = math.cos(self.heading), math.sin(self.heading)
        return self.x + ahead * c - left * s, self.y + ahead * s + left * c


def inside(point: XY, polygon: Sequence[XY]) -> bool:
    """Tell whether a point lies in a polygon (crossings of a ray along +x: Shimrat, Algorithm 112, 1962)."""
    x, y = point
    result = False
    x1, y1 = polygon[-1]
    for x2, y2 in polygon:
        if (y1 > y) != (y2 > y) and x < (x2 - x1) * (y - y1) / (y2 - y1) + x1:
            result = not result
        x1, y1 = x2, y2
    return result


def distance_to_segment(point: XY, a: XY, b: XY) -> float:
    """Return the distance (m) from a point to the segment ab."""
    ax, ay = a
    dx, dy = b[0] - ax, b[1] - ay
    length2 = dx * dx + dy * dy
    along = 0.0 if length2 == 0.0 else ((point[0] - ax) * dx + (point[1] - ay) * dy) / length2
    along = min(1.0, max(0.0, along))
    return math.hypot(point[0] - ax - along * dx, point[1] - ay - along * dy)


def cross(p: XY, q: XY, a: XY, b: XY) -> bool:
    """Tell whether the segments pq and ab cross; to touch is not to cross."""
    return _side(p, q, a) * _side(p, q, b) < 0.0 and _side(a, b, p) * _side(a, b, q) < 0.0


def crossing(p: XY, q: XY, a: XY, b: XY) -> XY | None:
    """Return where the segments pq and ab cross, None where they do not; to touch is not to cross."""
    if not cross(p, q, a, b):
        return None
    from_p, from_q = abs(_side(a, b, p)), abs(_side(a, b, q))
    share = from_p / (from_p + from_q)
    return p[0] + share * (q[0] - p[0]), p[1] + share * (q[1] - p[1])


def crossing_sides(polygon: Sequence[XY]) -> tuple[int, int] | None:
    """Return the first two sides of a polygon that cross, touch or run back on each other; None where it is simple.

    A side is told by the index of the corner that it begins at. A corner that stands there twice in succession is one.
    """
    ends = list(zip(polygon, (*polygon[1:], polygon[0]), strict=True))
    sides = [(index, a, b) for index, (a, b) in enumerate(ends) if a != b]
    for later, (second, c, d) in enumerate(sides):
        for earlier, (first, a, b) in enumerate(sides[:later]):
            if later - earlier == 1 or (earlier == 0 and later == len(sides) - 1):
                corner, one, other = (b, a, d) if later - earlier == 1 else (a, b, c)
                if _runs_back(corner, one, other):
                    return first, second
            elif _touch(a, b, c, d):
                return first, second
    return None


def _touch(p: XY, q: XY, a: XY, b: XY) -> bool:
    """Tell whether the segments pq and ab have a point in common."""
    on = (
        distance_to_segment(one, *segment) == 0.0
        for one, segment in ((p, (a, b)), (q, (a, b)), (a, (p, q)), (b, (p, q)))
    )
    return cross(p, q, a, b) or any(on)


def _runs_back(corner: XY, one: XY, other: XY) -> bool:
    """Tell whether the way from a corner to one place and that to another lie on each other."""
    ahead = (one[0] - corner[0]) * (other[0] - corner[0]) + (one[1] - corner[1]) * (other[1] - corner[1])
    return ahead > 0.0 and _side(corner, one, other) == 0.0


def _side(p: XY, q: XY, point: XY) -> float:
    """Return a number that is positive for a point left of the line from p to q, negative right of it."""
    return (q[0] - p[0]) * (point[1] - p[1]) - (q[1] - p[1]) * (point[0] - p[0])
