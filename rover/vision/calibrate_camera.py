"""Colour ranges from pixels of marked lids, and field of view and tilt from lids at known places."""

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import combinations
from typing import Any, NamedTuple

from rover.devices.camera.keys import CameraKeys
from rover.files.robot import Colour
from rover.quantities import wrap
from rover.vision.colour import to_hsv
from rover.vision.lens import pixel, view_of

Pixel = tuple[int, int, int]
"""Hue, saturation and value of one pixel (8 bit)."""

LEAST_PIXELS = 30
TAIL = 0.02
"""This share of the pixels at each end of a range is taken for reflections and edges."""
HUE_MARGIN = 4
"""Steps of two degrees that a range is widened by at each end: lamps change their colour with time and place."""
SATURATION_SHARE, VALUE_SHARE = 0.7, 0.5
"""The low ends, as shares of the lowest seen: haze takes saturation, and the light may go down to half."""
LOWEST_SATURATION, LOWEST_VALUE = 50, 25
"""Below these a hue says nothing."""
COLOURLESS = 40
DARK, GLARE = 60, 250
GLARING_SHARE = 0.2
WIDE = 24
HALF_STEP = math.pi / 90.0
"""Radians of a step of the hue scale."""
_TURNS = 25
_STEP = 1e-5


def pixels_of(image: Any, box: tuple[int, int, int, int]) -> list[Pixel]:
    """Return the pixels in a box (left, top, width, height) of a picture; what lies outside it is left out."""
    left, top, width, height = box
    part = image[max(0, top) : max(0, top + height), max(0, left) : max(0, left + width)]
    return [(h, s, v) for h, s, v in to_hsv(part).reshape(-1, 3).tolist()] if part.size else []


def proposed(pixels: Sequence[Pixel], present: Colour | None = None) -> Colour:
    """Return the ranges that take these pixels in, with margins; size and shape limits stay as they are.

    Raises:
        ValueError: there are too few pixels, or they have no colour.
    """
    if len(pixels) < LEAST_PIXELS:
        raise ValueError(f"{len(pixels)} pixels are too few; mark at least {LEAST_PIXELS} of the lid")
    coloured = [hue for hue, saturation, value in pixels if saturation >= COLOURLESS and value >= LOWEST_VALUE]
    if 2 * len(coloured) < len(pixels):
        raise ValueError("most of the marked pixels have no colour; is the box on the lid, and is there light enough?")
    low, high = _hues(coloured)
    saturation = _low_end([one[1] for one in pixels], SATURATION_SHARE, LOWEST_SATURATION)
    value = _low_end([one[2] for one in pixels], VALUE_SHARE, LOWEST_VALUE)
    shape = {} if present is None else present.model_dump(include={"area", "aspect", "fill"})
    return Colour(hue=(low, high), saturation=(saturation, 255), value=(value, 255), **shape)


def _hues(hues: Sequence[int]) -> tuple[int, int]:
    """Return the low and the high end of hues that may lie about zero, by their circular mean (Mardia, 1972)."""
    angles = [hue * HALF_STEP for hue in hues]
    mean = math.atan2(sum(map(math.sin, angles)), sum(map(math.cos, angles)))
    apart = sorted(wrap(angle - mean) / HALF_STEP for angle in angles)
    low, high = (mean / HALF_STEP + _quantile(apart, share) for share in (TAIL, 1.0 - TAIL))
    return math.floor(low - HUE_MARGIN + 1e-9) % 180, math.ceil(high + HUE_MARGIN - 1e-9) % 180


def _quantile(ordered: Sequence[float], share: float) -> float:
    return ordered[min(len(ordered) - 1, int(share * len(ordered)))]


def _low_end(values: Sequence[int], share: float, lowest: int) -> int:
    return max(lowest, int(share * _quantile(sorted(values), TAIL)))


def light_warnings(name: str, pixels: Sequence[Pixel]) -> list[str]:
    """Return what is poor about the light on a lid, as sentences that say what to do."""
    value = _quantile(sorted(one[2] for one in pixels), 0.5)
    glaring = sum(one[2] >= GLARE for one in pixels) / len(pixels)
    low, high = _hues([one[0] for one in pixels])
    wide = (high - low) % 180 - 2 * HUE_MARGIN
    warnings = []
    if value < DARK:
        warnings.append(f"{name}: the light is poor (half of the pixels are darker than {DARK} of 255); add light")
    if glaring > GLARING_SHARE:
        warnings.append(f"{name}: {glaring:.0%} of the pixels are as bright as can be; shorten the exposure")
    if wide > WIDE:
        warnings.append(f"{name}: its hues spread over {2 * wide} degrees; is something else in the box?")
    return warnings


def overlaps(colours: Mapping[str, Colour]) -> list[tuple[str, str]]:
    """Return the pairs of colours that have hue, saturation and value in common: such a pixel would be both."""
    return [(one, other) for one, other in combinations(colours, 2) if _meet(colours[one], colours[other])]


def _meet(one: Colour, other: Colour) -> bool:
    levels = ((one.saturation, other.saturation), (one.value, other.value))
    return _hues_meet(one.hue, other.hue) and all(a[0] <= b[1] and b[0] <= a[1] for a, b in levels)


def _hues_meet(one: tuple[int, int], other: tuple[int, int]) -> bool:
    one_wide, other_wide = (one[1] - one[0]) % 180, (other[1] - other[0]) % 180
    return (other[0] - one[0]) % 180 <= one_wide or (one[0] - other[0]) % 180 <= other_wide


class EdgeSighting(NamedTuple):
    """A point seen at a pixel (u, v), and where it is: ahead, left and above the camera's foot (m)."""

    u: float
    v: float
    ahead: float
    left: float
    above: float


def far_edge(patch_top: tuple[float, float], ahead: float, left: float, lid: tuple[float, float]) -> EdgeSighting:
    """Return the sighting of a lid's far edge: what the top of its patch shows (see `location.locate`).

    Args:
        patch_top: the pixel half-way along the patch's top.
        ahead: of the lid's middle, from the camera's foot (m).
        left: likewise.
        lid: its height and width (m).
    """
    height, width = lid
    farther = 1.0 + width / 2.0 / math.hypot(ahead, left)
    return EdgeSighting(*patch_top, ahead * farther, left * farther, height)


class ViewFit(NamedTuple):
    """The field of view and tilt (rad) that fit best, their standard deviations, and each sight's error (pixels)."""

    field_of_view: float
    tilt: float
    field_of_view_sigma: float
    tilt_sigma: float
    errors: tuple[tuple[float, float], ...]


def fit_view(camera: CameraKeys, sights: Sequence[EdgeSighting], size: tuple[int, int]) -> ViewFit:
    """Return field of view and tilt by least squares over the pixels (Gauss-Newton from the robot file's values).

    Args:
        camera: of the robot file; its height and distortion are taken as they are.
        sights: of points at known places.
        size: of the pictures (pixels).

    Raises:
        ValueError: there are too few sights, they do not tell the two apart, or nothing fits them.
    """
    if len(sights) < 2:
        raise ValueError("field of view and tilt need a target at two known places or more, one of them off the middle")

    def errors_at(field_of_view: float, tilt: float) -> list[float]:
        return _errors(camera.model_copy(update={"field_of_view": field_of_view, "tilt": tilt}), sights, size)

    guess = (camera.field_of_view, camera.tilt)
    for _ in range(_TURNS):
        step = _solve(_slopes(errors_at, *guess), errors_at(*guess))
        guess = (guess[0] + step[0], guess[1] + step[1])
        if not (0.1 < guess[0] < 3.0 and abs(guess[1]) < 1.5):
            raise ValueError("no field of view and tilt fit these places; are they measured from below the lens?")
        if max(map(abs, step)) < 1e-9:
            break
    errors = errors_at(*guess)
    return ViewFit(
        *guess, *_sigmas(_slopes(errors_at, *guess), errors), tuple(zip(errors[::2], errors[1::2], strict=True))
    )


def _errors(camera: CameraKeys, sights: Sequence[EdgeSighting], size: tuple[int, int]) -> list[float]:
    """Return u and v of each sight less where they should be (pixels)."""
    view = view_of(camera, *size)
    errors = []
    for sight in sights:
        due = pixel(view, sight.ahead, sight.left, sight.above)
        if due is None:
            raise ValueError(f"the target {sight.ahead:g} m ahead would be behind the lens; check the places")
        errors += [sight.u - due[0], sight.v - due[1]]
    return errors


def _slopes(
    errors_at: Callable[[float, float], list[float]], field_of_view: float, tilt: float
) -> list[tuple[float, float]]:
    """Return how each error changes with the field of view and with the tilt (pixels for a radian)."""

    def slopes(along: float, down: float) -> Iterator[float]:
        ahead, behind = errors_at(field_of_view + along, tilt + down), errors_at(field_of_view - along, tilt - down)
        return ((a - b) / (2.0 * _STEP) for a, b in zip(ahead, behind, strict=True))

    return list(zip(slopes(_STEP, 0.0), slopes(0.0, _STEP), strict=True))


def _products(slopes: Sequence[tuple[float, float]]) -> tuple[float, float, float, float]:
    aa, ab, bb = (sum(row[i] * row[j] for row in slopes) for i, j in ((0, 0), (0, 1), (1, 1)))
    determinant = aa * bb - ab * ab
    if determinant <= 1e-6 * aa * bb:
        raise ValueError("these places do not tell field of view from tilt; put the target to the side as well")
    return aa, ab, bb, determinant


def _solve(slopes: Sequence[tuple[float, float]], errors: Sequence[float]) -> tuple[float, float]:
    aa, ab, bb, determinant = _products(slopes)
    a, b = (-sum(row[i] * error for row, error in zip(slopes, errors, strict=True)) for i in (0, 1))
    return (bb * a - ab * b) / determinant, (aa * b - ab * a) / determinant


def _sigmas(slopes: Sequence[tuple[float, float]], errors: Sequence[float]) -> tuple[float, float]:
    """Return the standard deviations of the two, from the scatter of the errors."""
    aa, _, bb, determinant = _products(slopes)
    variance = sum(error * error for error in errors) / max(1, len(errors) - 2)
    return math.sqrt(variance * bb / determinant), math.sqrt(variance * aa / determinant)
