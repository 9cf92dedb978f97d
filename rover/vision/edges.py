"""The edges of a patch of colour, to a fraction of a pixel.

A pixel on an edge is a mixture of what lies on its two sides, and a threshold takes it or leaves it whole: a lid five
pixels wide would come out half a pixel too wide. Its share of the patch's colour tells how far the patch goes.
"""

from collections.abc import Sequence
from typing import Any, NamedTuple

OUTSIDE = 2
"""So many pixels outside an edge the background is looked at."""
INSIDE = 3
"""So many pixels inside, or half-way across a patch that is thinner, the patch's own colour."""
MOST_SHIFT = 1.25
"""What would be farther (pixels) from where the threshold has an edge is another thing's edge."""
LEAST_SIDE = 0.5
"""A patch whose edges come out nearer to each other than this (pixels) keeps those of its threshold."""
LEAST_CONTRAST = 20.0
"""Background and patch differ by less than this (0 to 255): the edge stays where the threshold has it."""


class Extent(NamedTuple):
    """The edges of a patch of colour (pixels), and the rows in which it goes farthest left and right.

    Of a patch without those rows, that half-way down is taken: an upright edge off the middle leans in the picture.
    """

    left: float
    top: float
    right: float
    bottom: float
    left_row: float | None = None
    right_row: float | None = None


def refined(image: Any, mask: Any, box: tuple[int, int, int, int]) -> Extent:
    """Return the edges of a patch.

    Args:
        image: the picture, blue, green and red.
        mask: the patch within its box: true where it is.
        box: its left, top, width and height (pixels).
    """
    left, top, width, height = box
    row_left, row_right = top + _middle(mask[:, 0]), top + _middle(mask[:, -1])
    across, down = min(INSIDE, width // 2), min(INSIDE, height // 2)
    column_top, column_bottom = left + _across(mask[0]), left + _across(mask[-1])
    edges = (
        left + _shift(_line(image[row_left], left, across, 1)),
        top + _shift(_line(image[:, column_top], top, down, 1)),
        left + width - _shift(_line(image[row_right], left + width - 1, across, -1)),
        top + height - _shift(_line(image[:, column_bottom], top + height - 1, down, -1)),
    )
    if edges[2] - edges[0] < LEAST_SIDE or edges[3] - edges[1] < LEAST_SIDE:  # a speck among others
        edges = (left, top, left + width, top + height)
    return Extent(*edges, row_left + 0.5, row_right + 0.5)


def _middle(line: Any) -> int:
    """Return the index of the middle one of the true values."""
    at = line.nonzero()[0]
    return int(at[len(at) // 2])


def _across(line: Any) -> int:
    """Return where to look at the top or bottom edge: half-way across the patch, if it goes so far there."""
    half = len(line) // 2
    return half if line[half] else _middle(line)


def _line(pixels: Any, first: int, inside: int, step: int) -> list[list[int]]:
    """Return the pixels across an edge, from the background inwards; none where the picture ends there."""
    outermost, innermost = first - OUTSIDE * step, first + inside * step
    if not (0 <= outermost < len(pixels) and 0 <= innermost < len(pixels)):
        return []
    return [pixels[at].tolist() for at in range(outermost, innermost + step, step)]


def _shift(line: Sequence[Sequence[int]]) -> float:
    """Return how far (pixels) inwards of its first pixel's outer side the edge is; 0 where that cannot be told."""
    if not line:
        return 0.0
    outer, inner = line[0], line[-1]
    way = [b - a for a, b in zip(outer, inner, strict=True)]
    square = float(sum(part * part for part in way))
    if square < LEAST_CONTRAST * LEAST_CONTRAST:
        return 0.0
    between = line[1:-1]
    shares = (sum((p - a) * w for p, a, w in zip(pixel, outer, way, strict=True)) / square for pixel in between)
    covered = sum(min(1.0, max(0.0, share)) for share in shares)
    shift = len(between) - (OUTSIDE - 1) - covered
    return shift if abs(shift) <= MOST_SHIFT else 0.0


def joined_extent(left: Extent, right: Extent) -> Extent:
    """Return the edges of two patches side by side taken as one."""
    top, bottom = min(left.top, right.top), max(left.bottom, right.bottom)
    return Extent(left.left, top, right.right, bottom, left.left_row, right.right_row)


def split_extent(patch: Extent) -> tuple[Extent, Extent]:
    """Return the left and the right half of a patch."""
    middle = (patch.left + patch.right) / 2.0
    return patch._replace(right=middle, right_row=None), patch._replace(left=middle, left_row=None)
