"""Patches of known colours in a picture: hue, saturation and value ranges, then connected pixels of a size and shape.

Hue, saturation and value are those of A. R. Smith, "Color Gamut Transform Pairs", SIGGRAPH 1978, on the 8-bit scale of
the package `opencv`: hue 0 to 179, in steps of two degrees, saturation and value 0 to 255.

The package is imported where it is used, so that nothing else of the program needs it.
"""

from collections.abc import Mapping
from operator import itemgetter
from typing import Any, NamedTuple

from rover.files.robot import Colour
from rover.vision.edges import Extent, refined

LEAST_PIXELS = 4
"""Fewer are noise, however small the picture."""
MOST_PATCHES = 40
"""Of each colour the largest are kept: a frame full of litter must not take longer than there is time."""
WIDE_ENOUGH_TO_OPEN = 320
"""From this width on (pixels) a lid at the end of sight is wide enough to survive the opening."""


class Patch(NamedTuple):
    """Connected pixels of one colour: its name, the patch's edges, and how many pixels it has."""

    colour: str
    extent: Extent
    area: int


def to_hsv(image: Any) -> Any:
    """Return a picture of blue, green and red as one of hue, saturation and value."""
    import cv2

    return cv2.cvtColor(image, cv2.COLOR_BGR2HSV)


def in_range(hsv: Any, colour: Colour) -> Any:
    """Return the mask (0 or 255) of the pixels whose hue, saturation and value lie within a colour's ranges."""
    import cv2

    (low, high), (s_low, s_high), (v_low, v_high) = colour.hue, colour.saturation, colour.value
    if low <= high:
        return cv2.inRange(hsv, (low, s_low, v_low), (high, s_high, v_high))
    above = cv2.inRange(hsv, (low, s_low, v_low), (179, s_high, v_high))
    below = cv2.inRange(hsv, (0, s_low, v_low), (high, s_high, v_high))
    return cv2.bitwise_or(above, below, above)


def mask_of(hsv: Any, colour: Colour) -> Any:
    """Return a colour's mask, freed from specks (opening) and from holes, such as a lamp's reflection (closing).

    The opening is one pixel high and three wide: a far lid is a flat thing of one or two rows.
    """
    import cv2

    mask = in_range(hsv, colour)
    if mask.shape[1] >= WIDE_ENOUGH_TO_OPEN:
        cv2.morphologyEx(mask, cv2.MORPH_OPEN, cv2.getStructuringElement(cv2.MORPH_RECT, (3, 1)), mask)
    return cv2.morphologyEx(mask, cv2.MORPH_CLOSE, cv2.getStructuringElement(cv2.MORPH_RECT, (3, 3)), mask)


def patches_of(image: Any, colours: Mapping[str, Colour]) -> list[Patch]:
    """Return the patches of all colours in a picture, those of each from the top to the bottom."""
    hsv = to_hsv(image)
    return [patch for name, colour in colours.items() for patch in _patches(name, colour, mask_of(hsv, colour), image)]


def _patches(name: str, colour: Colour, mask: Any, image: Any) -> list[Patch]:
    import cv2

    left, top, width, height = cv2.boundingRect(mask)
    if width == 0:
        return []
    # Most of a picture is empty: only the rectangle round all that is not is searched.
    _, labels, table, _ = cv2.connectedComponentsWithStats(
        mask[top : top + height, left : left + width], connectivity=8
    )
    pixels = mask.shape[0] * mask.shape[1]
    kept = [
        (number, x, y, w, h, area)
        for number, (x, y, w, h, area) in enumerate(table.tolist())
        if number > 0 and area >= LEAST_PIXELS and has_shape(colour, area / pixels, w / h, area / (w * h))
    ]
    if len(kept) > MOST_PATCHES:
        largest = set(sorted(kept, key=itemgetter(5), reverse=True)[:MOST_PATCHES])
        kept = [one for one in kept if one in largest]
    return [
        Patch(name, refined(image, labels[y : y + h, x : x + w] == number, (left + x, top + y, w, h)), area)
        for number, x, y, w, h, area in kept
    ]


def has_shape(colour: Colour, area: float, aspect: float, fill: float) -> bool:
    """Tell whether a patch's share of the picture, width over height and share of its rectangle are within limits."""
    limits = ((colour.area, area), (colour.aspect, aspect), (colour.fill, fill))
    return all(low <= value <= high for (low, high), value in limits)
