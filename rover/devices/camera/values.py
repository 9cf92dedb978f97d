"""What a camera reports."""

from typing import Any, NamedTuple

MARKER = "marker"
"""Kind of a detection of the tray's marker, whose place is known: no object of the errand is called so."""

FROZEN_AFTER = 5
"""A sensor's noise never repeats: so many equal frames in a row are one frame again and again, and no report."""


class Detection(NamedTuple):
    """One object in one frame, seen from the camera.

    Attributes:
        kind: name of the kind in the errand file.
        bearing: rad from the camera's axis, counter-clockwise positive.
        distance: metres along the ground from the camera to the object's middle.
        bearing_sigma, distance_sigma: standard deviations of the two (rad, m).
        size: apparent width as a share of the frame's width.
    """

    kind: str
    bearing: float
    distance: float
    bearing_sigma: float
    distance_sigma: float
    size: float


class Detections(NamedTuple):
    """All objects in one frame; an empty tuple is a frame in which nothing was found."""

    objects: tuple[Detection, ...]


class Frame(NamedTuple):
    """One picture of the camera: rows of pixels, each blue, green, red (8 bit), and its size in pixels."""

    image: Any
    width: int
    height: int
