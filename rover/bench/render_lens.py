"""The rendered camera's geometry: where a point of the field falls in a frame.

A pinhole without distortion (Hartley and Zisserman, Multiple View Geometry, 2nd ed. 2004, chapter 6). Pixel (0, 0) is
the middle of the upper left pixel, as OpenCV counts, so the axis goes through ((width - 1) / 2, (height - 1) / 2).
"""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

NEAR = 0.05
"""What is nearer to the camera's plane than this (m) is cut away."""


class Viewpoint(NamedTuple):
    """Where the camera is (m, rad, field frame): ``tilt`` is how far its axis points below the horizon."""

    x: float
    y: float
    height: float
    heading: float
    tilt: float


class PinholeLens(NamedTuple):
    """A frame's size in pixels, and the focal length in pixels."""

    width: int
    height: int
    focal: float

    def matrix(self) -> Floats:
        """Return the camera matrix."""
        across, down = (self.width - 1) / 2.0, (self.height - 1) / 2.0
        return np.array([[self.focal, 0.0, across], [0.0, self.focal, down], [0.0, 0.0, 1.0]])


def lens(width: int, height: int, field_of_view: float) -> PinholeLens:
    """Return the lens of a frame ``width`` pixels wide that shows ``field_of_view`` (rad) from side to side."""
    return PinholeLens(width, height, width / 2.0 / math.tan(field_of_view / 2.0))


def rotation(heading: float, tilt: float) -> Floats:
    """Return the rotation from field to camera axes (right, down, ahead)."""
    c, s, ct, st = math.cos(heading), math.sin(heading), math.cos(tilt), math.sin(tilt)
    return np.array([[s, -c, 0.0], [-c * st, -s * st, -ct], [c * ct, s * ct, -st]])


class Projection:
    """One camera at one place: a 3 by 4 matrix from field points to pixels."""

    def __init__(self, lens: PinholeLens, view: Viewpoint) -> None:
        self.lens, self.view = lens, view
        turn = rotation(view.heading, view.tilt)
        move = -turn @ np.array([view.x, view.y, view.height])
        self.matrix = lens.matrix() @ np.column_stack([turn, move])

    def homogeneous(self, points: Floats) -> Floats:
        """Return (u w, v w, w) of points (n by 3, m): ``w`` is the depth (m) before the camera's plane."""
        return np.asarray(points @ self.matrix[:, :3].T + self.matrix[:, 3])

    def pixels(self, points: Floats) -> Floats | None:
        """Return the pixels (n by 2) of points (n by 3, m); None when one of them is behind the near plane."""
        image = self.homogeneous(points)
        return None if image[:, 2].min() < NEAR else image[:, :2] / image[:, 2:]

    def clipped(self, points: Floats) -> Floats | None:
        """Return the pixels of a convex polygon, cut at the near plane; None when nothing of it is left.

        Sutherland and Hodgman, Reentrant polygon clipping, 1974, for one plane.
        """
        image = self.homogeneous(points)
        kept: list[Floats] = []
        for at, corner in enumerate(image):
            before = image[at - 1]
            if (corner[2] >= NEAR) != (before[2] >= NEAR):
                share = (NEAR - before[2]) / (corner[2] - before[2])
                kept.append(before + share * (corner - before))
            if corner[2] >= NEAR:
                kept.append(corner)
        if len(kept) < 3:
            return None
        left = np.array(kept)
        return np.asarray(left[:, :2] / left[:, 2:])

    def plane(self, origin: Floats, along: Floats, up: Floats) -> Floats:
        """Return the homography from (a, b, 1) on the plane ``origin + a along + b up`` (m) to pixels."""
        directions = self.matrix[:, :3]
        return np.column_stack([directions @ along, directions @ up, directions @ origin + self.matrix[:, 3]])

    @property
    def horizon(self) -> float:
        """The row on which the horizon lies."""
        return (self.lens.height - 1) / 2.0 - self.lens.focal * math.tan(self.view.tilt)
