"""Pixels <-> directions: a pinhole camera that looks ahead and down, with or without distortion.

Pixel coordinates are continuous, u to the right and v down, with (0, 0) at the picture's upper left corner: the pixel
in column i covers i to i + 1, and the axis of the lens meets the picture in its middle (width / 2, height / 2).
"""

import math
from typing import NamedTuple

from rover.devices.camera.keys import CameraKeys

_TURNS = 20


class Lens(NamedTuple):
    """What turns directions into pixels.

    Attributes:
        width, height: of the picture (pixels).
        focal: focal length (pixels).
        distortion: k1, k2, p1, p2 and k3, radial and tangential; fewer are followed by zeros, none is no distortion.
    """

    width: int
    height: int
    focal: float
    distortion: tuple[float, ...] = ()


class MountedLens(NamedTuple):
    """A lens and how it is mounted: ``height`` above the ground (m), ``tilt`` downwards from level (rad)."""

    lens: Lens
    height: float
    tilt: float


class Direction(NamedTuple):
    """Where a ray goes: bearing (rad, left positive), and how far it falls for each metre along the ground."""

    bearing: float
    fall: float


def focal_length(width: int, field_of_view: float) -> float:
    """Return the focal length (pixels) of a pinhole camera that sees so wide an angle (rad)."""
    return width / 2.0 / math.tan(field_of_view / 2.0)


def view_of(camera: CameraKeys, width: int, height: int) -> MountedLens:
    """Return the view of the robot file's camera in pictures of this size (pixels)."""
    lens = Lens(width, height, focal_length(width, camera.field_of_view), tuple(camera.distortion))
    return MountedLens(lens, camera.height, camera.tilt)


def _bent(distortion: tuple[float, ...], x: float, y: float) -> tuple[float, float, float]:
    """Return the radial factor and the tangential shifts at an undistorted point."""
    k1, k2, p1, p2, k3 = (*distortion, 0.0, 0.0, 0.0, 0.0, 0.0)[:5]
    square = x * x + y * y
    radial = 1.0 + square * (k1 + square * (k2 + square * k3))
    return radial, 2.0 * p1 * x * y + p2 * (square + 2.0 * x * x), p1 * (square + 2.0 * y * y) + 2.0 * p2 * x * y


def ray(lens: Lens, u: float, v: float) -> tuple[float, float]:
    """Return how far (right, down) the ray through a pixel goes for each unit along the lens's axis.

    Distortion is that of D. C. Brown, "Close-Range Camera Calibration", 1971, undone by fixed-point iteration.
    """
    bent_x, bent_y = (u - lens.width / 2.0) / lens.focal, (v - lens.height / 2.0) / lens.focal
    if not lens.distortion:
        return bent_x, bent_y
    x, y = bent_x, bent_y
    for _ in range(_TURNS):
        radial, shift_x, shift_y = _bent(lens.distortion, x, y)
        if radial <= 0.0:  # beyond where the model means anything
            return bent_x, bent_y
        x, y = (bent_x - shift_x) / radial, (bent_y - shift_y) / radial
    return x, y


def pixel(view: MountedLens, ahead: float, left: float, above: float) -> tuple[float, float] | None:
    """Return the pixel (u, v) of a point (m, from the camera's foot on the ground), or None behind the lens."""
    lens, drop = view.lens, view.height - above
    c, s = math.cos(view.tilt), math.sin(view.tilt)
    along = ahead * c + drop * s
    if along <= 0.0:
        return None
    x, y = -left / along, (drop * c - ahead * s) / along
    radial, shift_x, shift_y = _bent(lens.distortion, x, y)
    bent_x, bent_y = x * radial + shift_x, y * radial + shift_y
    return lens.width / 2.0 + lens.focal * bent_x, lens.height / 2.0 + lens.focal * bent_y


def direction(view: MountedLens, u: float, v: float) -> Direction:
    """Return where the ray through a pixel goes, by the full ray: with a tilt, the column alone does not tell."""
    right, down = ray(view.lens, u, v)
    c, s = math.cos(view.tilt), math.sin(view.tilt)
    ahead, fall = c - down * s, s + down * c
    return Direction(-math.atan2(right, ahead), fall / math.hypot(ahead, right))
