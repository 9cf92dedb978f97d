"""What is seen round a place: out to the farthest sight, and up to the first wall."""

import math

from rover.estimate.field import Ground
from rover.geometry import XY

RAYS = 180
"""Directions that are looked along."""


def outline_of_view(ground: Ground, place: XY, farthest: float) -> list[XY]:
    """Return the corners (m) of what is seen of the field from a place, out to ``farthest`` (m)."""
    corners = []
    for index in range(RAYS):
        angle = 2.0 * math.pi * index / RAYS
        c, s = math.cos(angle), math.sin(angle)
        far = min((_along(place, (c, s), barrier) for barrier in (*ground.edges, *ground.walls)), default=math.inf)
        far = min(far, farthest)
        corners.append((place[0] + far * c, place[1] + far * s))
    return corners


def _along(place: XY, towards: XY, barrier: tuple[XY, XY]) -> float:
    """Return how far (m) a barrier is along a direction; infinite where it is not met."""
    ((ax, ay), (bx, by)), (c, s) = barrier, towards
    dx, dy, to_x, to_y = bx - ax, by - ay, ax - place[0], ay - place[1]
    across = c * dy - s * dx
    if across == 0.0:
        return math.inf
    distance, share = (to_x * dy - to_y * dx) / across, (to_x * s - to_y * c) / across
    return distance if distance > 0.0 and 0.0 <= share <= 1.0 else math.inf
