"""Which echoes a known wall explains: it is kept clear of by the map, and what is heard of it is nothing in the way."""

import math
from collections.abc import Iterable

from rover.geometry import XY, Pose

BESIDE = math.radians(4.0)
"""A cone hears so much (rad) beyond its edges, the heading's own error included."""
NEARER, FARTHER = 0.03, 0.06
"""What is heard so much (m) nearer than a known wall, or farther, is not that wall: one that slants may not echo."""


def is_explained(distance: float, ways: Iterable[float]) -> bool:
    """Tell whether an echo (m) comes from where a known wall is nearest; ``ways`` as of `to_walls`."""
    return any(-NEARER <= distance - way <= FARTHER for way in ways)


def to_walls(sensor: Pose, half_beam: float, walls: Iterable[tuple[XY, XY]]) -> list[float]:
    """Return how near (m) each known wall comes in the cone of a range finder, infinite for one that is not in it.

    Args:
        sensor: the sensor's face, and where it looks.
        half_beam: half the cone's angle (rad).
        walls: the known walls.
    """
    edges = math.tan(min(half_beam + BESIDE, 1.4))
    c, s = math.cos(sensor.heading), math.sin(sensor.heading)

    def seen(place: XY) -> XY:
        dx, dy = place[0] - sensor.x, place[1] - sensor.y
        return dx * c + dy * s, dy * c - dx * s

    return [_nearest(seen(a), seen(b), edges) for a, b in walls]


def _nearest(a: XY, b: XY, edges: float) -> float:
    """Return how near (m) a segment in the sensor's frame comes within its cone, infinite where it does not.

    ``edges`` is the tangent of half the cone's angle: a place is within it where |left| <= ahead * edges.
    """
    begins, ends = 0.0, 1.0
    for sign in (1.0, -1.0):  # what lies beyond either edge is cut off
        from_a, from_b = a[0] * edges - sign * a[1], b[0] * edges - sign * b[1]
        if from_a < 0.0 and from_b < 0.0:
            return math.inf
        if from_a < 0.0 or from_b < 0.0:
            share = from_a / (from_a - from_b)
            begins, ends = (max(begins, share), ends) if from_a < 0.0 else (begins, min(ends, share))
    if begins > ends:
        return math.inf
    dx, dy = b[0] - a[0], b[1] - a[1]
    length2 = dx * dx + dy * dy
    foot = 0.0 if length2 == 0.0 else -(a[0] * dx + a[1] * dy) / length2
    share = min(max(foot, begins), ends)
    return math.hypot(a[0] + share * dx, a[1] + share * dy)
