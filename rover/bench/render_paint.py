"""Paint: colours, and polygons with smooth edges."""

import colorsys
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rover.bench.render_lens import Floats

Image = NDArray[np.uint8]
Colour = tuple[float, float, float]
"""Blue, green, red, 0 to 255 each."""

FRACTION_BITS = 4
"""Corners are drawn to a sixteenth of a pixel."""


def from_hsv(hue: float, saturation: float, value: float) -> Colour:
    """Return the colour of a hue (0 to 180), saturation and value (0 to 255): OpenCV's 8-bit scales."""
    red, green, blue = colorsys.hsv_to_rgb(hue / 180.0, saturation / 255.0, value / 255.0)
    return 255.0 * blue, 255.0 * green, 255.0 * red


def shaded(colour: Colour, factor: float) -> Colour:
    """Return a colour in less light, or more."""
    blue, green, red = (min(255.0, part * factor) for part in colour)
    return blue, green, red


def fill(image: Image, corners: Floats, colour: Colour) -> None:
    """Fill a convex polygon quickly, to a pixel; corners in pixels, which may lie outside the image."""
    import cv2

    cv2.fillConvexPoly(image, _fixed_point(corners), colour, cv2.LINE_AA, FRACTION_BITS)


class Easel:
    """A part of an image at four times its size, on which polygons are drawn true to a sixteenth of a pixel.

    OpenCV's own smooth polygons come out 0.7 pixels too large on every side, its sharp ones half a pixel: drawn finer,
    made smaller by that half, and averaged, they cover as much of each pixel as they should.

    Args:
        image: to be drawn on.
        corners: all that is going to be drawn (pixels).
    """

    FINER = 4

    def __init__(self, image: Image, corners: Floats) -> None:
        import cv2

        rows, columns = image.shape[:2]
        left, top = np.maximum(np.floor(corners.min(axis=0)).astype(int) - 1, 0)
        right, bottom = np.minimum(np.ceil(corners.max(axis=0)).astype(int) + 2, (columns, rows))
        self._corner = np.array([left, top]) - 0.5
        self._part = image[top : max(bottom, top), left : max(right, left)]
        self._canvas = None
        if self._part.size:
            size = (self._part.shape[1] * self.FINER, self._part.shape[0] * self.FINER)
            self._canvas = cv2.resize(self._part, size, interpolation=cv2.INTER_NEAREST)

    def fill(self, corners: Floats, colour: Colour) -> None:
        """Fill a convex polygon; corners in pixels of the image, which may lie outside it."""
        import cv2

        if self._canvas is not None:
            places = (corners - self._corner) * self.FINER - 0.5
            cv2.fillConvexPoly(self._canvas, _fixed_point(_smaller(places)), colour, cv2.LINE_8, FRACTION_BITS)

    def put_back(self) -> None:
        """Bring what was drawn into the image."""
        import cv2

        if self._canvas is not None:
            size = self._part.shape[1::-1]
            self._part[:] = cv2.resize(self._canvas, size, interpolation=cv2.INTER_AREA)


def _smaller(corners: Floats) -> Floats:
    """Return a polygon that is narrower and lower by a pixel."""
    low, high = corners.min(axis=0), corners.max(axis=0)
    half = np.maximum((high - low) / 2.0, 0.5)
    middle = (low + high) / 2.0
    return np.asarray(middle + (corners - middle) * (1.0 - 0.5 / half))


def darken(image: Image, corners: Floats, share: float, softness: float) -> None:
    """Take a share of the light away from a convex polygon, with an edge ``softness`` pixels soft."""
    import cv2

    margin = int(2.0 * softness) + 2
    left, top = np.floor(corners.min(axis=0)).astype(int) - margin
    right, bottom = np.ceil(corners.max(axis=0)).astype(int) + margin
    left, top, right, bottom = max(left, 0), max(top, 0), min(right, image.shape[1]), min(bottom, image.shape[0])
    if left >= right or top >= bottom:
        return
    part = image[top:bottom, left:right]
    kept = np.full((bottom - top, right - left), 255.0, np.float32)
    corners = _fixed_point(corners - (left, top))
    cv2.fillConvexPoly(kept, corners, 255.0 * (1.0 - share), cv2.LINE_8, FRACTION_BITS)
    kept = cv2.blur(kept, (2 * round(softness) + 1,) * 2)
    part[:] = cv2.multiply(part, cv2.merge([kept] * 3), scale=1.0 / 255.0, dtype=cv2.CV_8U)


def hull(corners: Floats) -> Floats:
    """Return the convex hull of points (n by 2)."""
    import cv2

    found: Floats = cv2.convexHull(corners.astype(np.float32))[:, 0].astype(np.float64)
    return found


def _fixed_point(corners: Floats) -> Any:
    return np.round(corners * (1 << FRACTION_BITS)).astype(np.int32)
