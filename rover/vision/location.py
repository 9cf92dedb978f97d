"""Patches of colour -> where lids and the tray's marker stand, as seen from the camera.

Distances are worked out and joined as their inverses. A pixel of error and a degree of pitch move 1/distance by nearly
the same amount whatever the distance, so the mean by inverse variance does not favour near answers, and a ray at the
horizon, or a little above it, is a number like any other.
"""

import math
from typing import NamedTuple

from rover.vision.edges import Extent, joined_extent
from rover.vision.lens import Lens, MountedLens, direction

PITCH_SIGMA = math.radians(0.6)
"""Standard deviation (rad) of the camera's pitch in a frame: 0.5 deg of a rolling chassis, and an error of the tilt."""
HEADING_SIGMA = math.radians(0.15)
"""The same of the camera's direction against the robot's: how straight it is screwed on."""
EDGE_SIGMA = 0.4
"""Standard deviation (pixels) of the place at which an edge is found."""
SCALE_SIGMA = 0.015
"""The same of all distances alike, as a share: how well lids, camera height and field of view are measured."""
AGREE = 3.0
"""Two answers that differ by more than so many sigma are not answers to the same question."""
AS_WIDE_AS_TWO = 1.5
"""Wider than its row allows by this factor, and by ``AGREE`` sigma, a patch is two lids that stand side by side."""
LEVEL = (1.5, 0.3)
"""A lone lid goes farthest left and right in the same row, give or take pixels, or this share of its height."""
SMALLEST, LARGEST = 0.25, 2.5
"""What looks narrower or wider than its kind by these factors, from its place on the floor, is not of that kind."""
FARTHEST = 20.0
"""Nothing is placed farther away than this (m): the inverse of the distance is no better known than that."""
MARKER_ELEVATION = math.radians(3.0)
"""The tray's marker stands at the camera's height: so far (rad) from the horizon its middle is looked for."""


class Located(NamedTuple):
    """Where something is, seen from the camera: bearing (rad, left positive) and distance along the ground (m)."""

    bearing: float
    distance: float
    bearing_sigma: float
    distance_sigma: float


class InverseDistance(NamedTuple):
    """The inverse of a distance (1/m), and its standard deviation."""

    inverse: float
    sigma: float


def locate(view: MountedLens, patch: Extent, lid_height: float, lid_width: float) -> Located | None:
    """Return where a round lid stands, or None if the patch cannot be such a lid on the floor.

    The far edge of the lid's upper face is the top of the patch, whatever rim shows below it; where its ray meets the
    plane of the lid is the middle's distance and half a width. The apparent width gives a second answer. The two are
    joined by inverse variance while they agree. If they do not, the lid is partly hidden, or two lids make one patch
    (see `locate_pair`): then the row alone counts, and the bearing is less certain.

    Args:
        view: the camera.
        patch: its edges; those on the picture's edge are taken as cut off.
        lid_height: of the upper face above the floor (m).
        lid_width: its diameter (m).
    """
    by_row = _by_row(view, patch, lid_height, lid_width)
    by_width = _by_width(view, patch, lid_width)
    if by_row is not None and not _is_plausible(by_row, by_width, _is_cut(view.lens, patch) or patch.top <= 0):
        return None
    best = _best(view.lens, patch, by_row, by_width)
    if best is None or best.inverse <= 1.0 / FARTHEST:
        return None
    return _place(best, *_bearing(view, patch, _half_angle(best, lid_width)))


def locate_pair(
    view: MountedLens, patch: Extent, lid_height: float, lid_width: float
) -> tuple[Located, Located] | None:
    """Return where two round lids stand, left and right, that make one patch; None if it is not too wide for one.

    Both are as far as the row has it, each with its own edge of the patch half a width from its middle. The arguments
    are those of `locate`.
    """
    by_row = _by_row(view, patch, lid_height, lid_width)
    if by_row is None or by_row.inverse <= 1.0 / FARTHEST or _is_cut(view.lens, patch) or patch.top <= 0:
        return None
    by_width = _by_width(view, patch, lid_width)
    two = by_width.inverse > AS_WIDE_AS_TWO * by_row.inverse and _sigmas_nearer(by_row, by_width) > AGREE
    if not two or not _is_plausible(by_row, by_width, cut=False):
        return None
    half, (left, right) = _half_angle(by_row, lid_width), _edges(view, patch)
    sigma = math.hypot(_edge_sigma(patch, left - right), 0.2 * half)
    return _place(by_row, left - half, sigma), _place(by_row, right + half, sigma)


def _half_angle(guess: InverseDistance, width: float) -> float:
    """Return half the angle (rad) that a round thing of a width fills at a distance."""
    return math.asin(min(1.0, width / 2.0 * guess.inverse))


def _place(guess: InverseDistance, bearing: float, bearing_sigma: float) -> Located:
    distance = 1.0 / guess.inverse
    return Located(bearing, distance, bearing_sigma, distance * math.hypot(guess.sigma * distance, SCALE_SIGMA))


def _is_cut(lens: Lens, patch: Extent) -> bool:
    """Whether the patch's width may be less than the lid's: it goes on beyond an edge of the picture."""
    return patch.left <= 0 or patch.right >= lens.width or patch.bottom >= lens.height


def _by_row(view: MountedLens, patch: Extent, lid_height: float, lid_width: float) -> InverseDistance | None:
    """Return what the patch's top row tells; nothing if the lid is at the camera's height."""
    drop = view.height - lid_height
    if abs(drop) < 1e-3:
        return None
    fall = direction(view, (patch.left + patch.right) / 2.0, patch.top).fall
    # Seen from below, it is the near edge of the lid that shows highest.
    beyond = math.copysign(lid_width / 2.0, drop)
    to_edge = fall / drop
    inverse = to_edge / max(1.0 - to_edge * beyond, 0.1)
    angle = math.hypot(PITCH_SIGMA, EDGE_SIGMA / view.lens.focal)
    return InverseDistance(inverse, (1.0 + fall * fall) * angle / abs(drop))


def _edges(view: MountedLens, patch: Extent) -> tuple[float, float]:
    """Return the bearings of the patch's left and right edge (rad)."""
    middle = (patch.top + patch.bottom) / 2.0
    left_row = middle if patch.left_row is None else patch.left_row
    right_row = middle if patch.right_row is None else patch.right_row
    return direction(view, patch.left, left_row).bearing, direction(view, patch.right, right_row).bearing


def _by_width(view: MountedLens, patch: Extent, lid_width: float) -> InverseDistance:
    """Return what the patch's width tells: an upright round thing fills the angle 2 asin(radius / distance)."""
    left, right = _edges(view, patch)
    half = (left - right) / 2.0
    a_pixel = 2.0 * half / (patch.right - patch.left)
    sigma = math.cos(half) * a_pixel * EDGE_SIGMA / math.sqrt(2.0)
    return InverseDistance(math.sin(half) / (lid_width / 2.0), sigma / (lid_width / 2.0))


def _is_plausible(by_row: InverseDistance, by_width: InverseDistance, cut: bool) -> bool:
    """Whether something as wide as this may stand where the row has it, give or take three sigma."""
    nearest, farthest = by_row.inverse + AGREE * by_row.sigma, by_row.inverse - AGREE * by_row.sigma
    if by_width.inverse > LARGEST * nearest:  # always so above the horizon
        return False
    return cut or by_width.inverse >= SMALLEST * farthest


def _best(
    lens: Lens, patch: Extent, by_row: InverseDistance | None, by_width: InverseDistance
) -> InverseDistance | None:
    """Return the answer of what is in the picture: row, width, or both."""
    cut = _is_cut(lens, patch)
    if by_row is None or patch.top <= 0:
        return None if cut else by_width
    if cut or abs(_sigmas_nearer(by_row, by_width)) > AGREE or _is_lopsided(patch):
        return by_row
    row, width = by_row.sigma**-2, by_width.sigma**-2
    return InverseDistance((row * by_row.inverse + width * by_width.inverse) / (row + width), (row + width) ** -0.5)


def _sigmas_nearer(by_row: InverseDistance, by_width: InverseDistance) -> float:
    """Return by how many sigma the width has it nearer than the row does."""
    return (by_width.inverse - by_row.inverse) / math.hypot(by_row.sigma, by_width.sigma)


def _is_lopsided(patch: Extent) -> bool:
    """Whether one side of the patch is lower than the other: a lid and part of another that stands behind it."""
    if patch.left_row is None or patch.right_row is None:
        return False
    pixels, share = LEVEL
    return abs(patch.left_row - patch.right_row) > max(pixels, share * (patch.bottom - patch.top))


def _bearing(view: MountedLens, patch: Extent, half: float) -> tuple[float, float]:
    """Return the bearing of a round thing that fills twice the angle ``half``, and its sigma (rad)."""
    left, right = _edges(view, patch)
    seen, sigma = left - right, _edge_sigma(patch, left - right)
    cut_left, cut_right = patch.left <= 0, patch.right >= view.lens.width
    if cut_left != cut_right:  # the edge in sight, and half a width from there
        return right + half if cut_left else left - half, math.hypot(sigma, 0.2 * half)
    return (left + right) / 2.0, math.hypot(sigma, abs(2.0 * half - seen) / 4.0)


def _edge_sigma(patch: Extent, seen: float) -> float:
    """Return how well the bearing of an edge is known (rad), of a patch that fills an angle."""
    return math.hypot(HEADING_SIGMA, seen / (patch.right - patch.left) * EDGE_SIGMA)


def locate_marker(view: MountedLens, halves: tuple[Extent, Extent], width: float, height: float) -> Located | None:
    """Return where the tray's marker stands: an upright plate of a width and height (m) at the camera's height.

    Seen aslant, a plate is narrower and as high as ever, so that of the two answers the larger counts. None if the
    patches of its halves, left and right, are not about the horizon, or cut off.
    """
    plate = joined_extent(*halves)
    if _is_cut(view.lens, plate) or plate.top <= 0:
        return None
    falls = [_falls(view, half) for half in halves]
    if abs(math.atan(sum(top + bottom for top, bottom in falls) / 4.0)) > MARKER_ELEVATION:
        return None
    left, right = _edges(view, plate)
    by_width = math.tan((left - right) / 2.0) * 2.0 / width
    by_height = sum(bottom - top for top, bottom in falls) / 2.0 / height
    side = width if by_width >= by_height else height
    distance = 1.0 / max(by_width, by_height)
    edge = EDGE_SIGMA / view.lens.focal
    distance_sigma = distance * math.hypot(edge * math.sqrt(2.0) / side * distance, SCALE_SIGMA)
    return Located((left + right) / 2.0, distance, math.hypot(HEADING_SIGMA, edge), distance_sigma)


def _falls(view: MountedLens, patch: Extent) -> tuple[float, float]:
    """Return the falls of a patch's top and bottom, half-way across."""
    middle = (patch.left + patch.right) / 2.0
    return direction(view, middle, patch.top).fall, direction(view, middle, patch.bottom).fall
