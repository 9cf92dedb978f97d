"""Which motor or encoder channel is which side of the robot."""

from collections.abc import Mapping
from typing import Any


class Sides:
    """Which channel is which side, and which of the sides runs backwards; the same for motors and encoders.

    ``swap_sides``: the left channel belongs to the right wheels. ``reverse_left``, ``reverse_right``: forwards of
    those wheels is the channel's backwards.
    """

    def __init__(self, options: Mapping[str, Any]) -> None:
        self._swapped = options["swap_sides"]
        self._left_sign = -1 if options["reverse_left"] else 1
        self._right_sign = -1 if options["reverse_right"] else 1

    def from_channels(self, left: int, right: int) -> tuple[int, int]:
        """Return the (left, right) sides of what the two channels say."""
        left, right = (right, left) if self._swapped else (left, right)
        return self._left_sign * left, self._right_sign * right

    def to_channels(self, left: int, right: int) -> tuple[int, int]:
        """Return what the two channels get for the (left, right) sides."""
        left, right = self._left_sign * left, self._right_sign * right
        return (right, left) if self._swapped else (left, right)
