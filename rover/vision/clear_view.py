"""Whether anything that is known of hides a place from the camera."""

import math
from collections.abc import Sequence
from typing import NamedTuple

from rover.geometry import XY, cross

HALF_WIDTH = 0.03
"""What stands about hides so much (m) to either side of its middle, and an object can be hidden as much."""
BESIDE = 0.08
"""What is no nearer to the eye than an object, but for so much (m), stands beside it or behind it."""


class ClearView(NamedTuple):
    """What may hide an object.

    Attributes:
        walls: their ends (m).
        things: middles of what stands about (m); the object itself may be among them.
        off: the walls may stand so far (m) elsewhere, as seen from here: things are placed from where they are seen.
    """

    walls: Sequence[tuple[XY, XY]]
    things: Sequence[XY]
    off: float = 0.0

    def reaches(self, eye: XY, place: XY, doubt: float) -> bool:
        """Tell whether nothing stands between an eye and an object at a place, give or take ``doubt`` (m)."""
        return not (
            any(cross(eye, place, *wall) for wall in self.walls)
            or any(_hides(end, eye, place, doubt, self.off) for wall in self.walls for end in wall)
            or any(_hides(thing, eye, place, doubt, 0.0) for thing in self.things)
        )


def _hides(thing: XY, eye: XY, place: XY, doubt: float, off: float) -> bool:
    """Tell whether something narrow, so far ``off`` (m) at most, stands between an eye and what is within ``doubt`` (m)
    of a place."""
    distance = math.dist(eye, place)
    c, s = (place[0] - eye[0]) / distance, (place[1] - eye[1]) / distance
    dx, dy = thing[0] - eye[0], thing[1] - eye[1]
    along, across = dx * c + dy * s, abs(dy * c - dx * s)
    return 0.0 < along < distance - BESIDE and across < HALF_WIDTH + off + (HALF_WIDTH + doubt) * along / distance
