"""Where labels go: near what they name, off each other and off the signs, inside the plan."""

import math
from collections.abc import Iterable, Iterator
from typing import NamedTuple

from rover.geometry import XY

CELL = 6.0


class Box(NamedTuple):
    """A rectangle in the picture, x to the right and y down."""

    left: float
    top: float
    right: float
    bottom: float

    def overlap(self, other: "Box") -> float:
        """Return the area that the two have in common."""
        width = min(self.right, other.right) - max(self.left, other.left)
        height = min(self.bottom, other.bottom) - max(self.top, other.top)
        return max(width, 0.0) * max(height, 0.0)

    def grown(self, by: float) -> "Box":
        """Return the box with each side moved outwards."""
        return Box(self.left - by, self.top - by, self.right + by, self.bottom + by)

    @property
    def middle(self) -> XY:
        """Its middle."""
        return (self.left + self.right) / 2.0, (self.top + self.bottom) / 2.0

    @property
    def area(self) -> float:
        """Its area."""
        return self.overlap(self)


def box_round(middle: XY, width: float, height: float) -> Box:
    """Return the box of this size round a point."""
    x, y = middle
    return Box(x - width / 2.0, y - height / 2.0, x + width / 2.0, y + height / 2.0)


class LabelSpace:
    """What labels keep off: signs and other labels wherever possible, lines where there is a choice."""

    def __init__(self, inside: Box) -> None:
        self._inside = inside
        self._boxes: list[Box] = []
        self._crossed: set[tuple[int, int]] = set()

    def add_box(self, box: Box) -> None:
        """Keep labels off a box."""
        self._boxes.append(box)

    def add_line(self, points: Iterable[XY]) -> None:
        """Keep labels off a line, given by points no further apart than a label is high."""
        self._crossed.update((round(x / CELL), round(y / CELL)) for x, y in points)

    def place(self, anchor: XY, clear: float, size: XY) -> Box:
        """Return the place for a label of (width, height) at least ``clear`` from ``anchor``, and take it."""
        best = min(_candidates(anchor, clear, size), key=self._cost)
        self.add_box(best)
        return best

    def _cost(self, box: Box) -> float:
        beyond = box.area - box.overlap(self._inside)
        return 10.0 * beyond + sum(box.grown(2.0).overlap(other) for other in self._boxes) + 4.0 * self._lines_in(box)

    def _lines_in(self, box: Box) -> int:
        left, top, right, bottom = (round(edge / CELL) for edge in box)
        cells = ((x, y) for x in range(left, right + 1) for y in range(top, bottom + 1))
        return sum(cell in self._crossed for cell in cells)


def _candidates(anchor: XY, clear: float, size: XY) -> Iterator[Box]:
    for further in (10.0, 22.0, 36.0, 54.0, 80.0):
        reach = clear + further
        for step in range(16):
            angle = math.radians(-45.0 + 22.5 * step)
            yield box_round((anchor[0] + reach * math.cos(angle), anchor[1] + reach * math.sin(angle)), *size)
