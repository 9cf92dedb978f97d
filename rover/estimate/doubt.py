"""How far off the robot may stand from where it is believed to be, along one direction or another."""

import math
from typing import NamedTuple


class Doubt(NamedTuple):
    """A covariance of the position (m^2, in the field's frame or the robot's), times the square of what is left for it.

    Two outlines are apart if they are so along one direction. So only the doubt along that one counts: who has just
    ranged to a wall passes near it, however unsure its place is along the wall.
    """

    xx: float = 0.0
    xy: float = 0.0
    yy: float = 0.0

    def along(self, x: float, y: float) -> float:
        """Return how far (m) off the robot may stand along a direction, given as a vector of length 1."""
        return math.sqrt(max(0.0, x * x * self.xx + 2.0 * x * y * self.xy + y * y * self.yy))

    @property
    def worst(self) -> float:
        """How far (m) off it may stand along the direction in which that is most."""
        middle, half = 0.5 * (self.xx + self.yy), 0.5 * (self.xx - self.yy)
        return math.sqrt(max(0.0, middle + math.hypot(half, self.xy)))

    def times(self, factor: float) -> "Doubt":
        """Return so many times the doubt."""
        square = factor * factor
        return Doubt(square * self.xx, square * self.xy, square * self.yy)

    def widened(self, by: float) -> "Doubt":
        """Return the doubt with so much (m) besides in all directions, which has nothing to do with it."""
        return Doubt(self.xx + by * by, self.xy, self.yy + by * by)

    def at_most(self, worst: float) -> "Doubt":
        """Return the doubt, made less where it is more than ``worst`` (m)."""
        return self if (now := self.worst) <= worst else self.times(worst / now)

    def seen_at(self, c: float, s: float) -> "Doubt":
        """Return it in the frame of a robot whose heading has this cosine and sine."""
        across = (self.yy - self.xx) * c * s + self.xy * (c * c - s * s)
        return Doubt(
            c * c * self.xx + 2.0 * c * s * self.xy + s * s * self.yy,
            across,
            s * s * self.xx - 2.0 * c * s * self.xy + c * c * self.yy,
        )


SURE = Doubt()
