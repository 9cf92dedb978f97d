"""Vision against published formulas, and against values derived from them or computed with an outside library."""

import math

import numpy
import pytest

from rover.files.robot import Colour
from rover.vision.colour import in_range, to_hsv
from rover.vision.edges import Extent
from rover.vision.lens import Lens, MountedLens, direction, focal_length, pixel
from rover.vision.location import locate

SIXTY = Lens(640, 480, focal_length(640, math.radians(60.0)))


def view(height, tilt_degrees):
    return MountedLens(SIXTY, height, math.radians(tilt_degrees))


def test_focal_length_of_sixty_degrees():
    """Pinhole, f = (W / 2) / tan(HFOV / 2): derived, and computed with `calibrationMatrixValues` of OpenCV 5.0.0.93."""
    assert SIXTY.focal == pytest.approx(554.256258, abs=1e-6)
    assert math.degrees(2.0 * math.atan(240.0 / SIXTY.focal)) == pytest.approx(46.826449, abs=1e-6)


@pytest.mark.parametrize(("u", "degrees"), [(480.0, -16.102114), (0.0, 30.0), (640.0, -30.0), (320.0, 0.0)])
def test_bearing_of_a_column(u, degrees):
    """Atan((u - cx) / f), to the right is negative: derived, and computed with `undistortPoints` of OpenCV 5.0.0.93."""
    assert math.degrees(direction(view(0.2, 0.0), u, 240.0).bearing) == pytest.approx(degrees, abs=1e-6)


@pytest.mark.parametrize(
    ("height", "tilt", "row", "distance"),
    [
        (0.2, 0.0, 300.0, 1.847521),
        (0.2, 15.0, 240.0, 0.746410),
        (0.2, 15.0, 360.0, 0.388885),
        (0.3, 30.0, 240.0, 0.519615),
    ],
)
def test_distance_of_a_row_on_the_ground(height, tilt, row, distance):
    """D = h / tan(tilt + atan((v - cy) / f)): derived, and computed with OpenCV 5.0.0.93."""
    assert height / direction(view(height, tilt), 320.0, row).fall == pytest.approx(distance, abs=1e-5)


@pytest.mark.parametrize(
    ("tilt", "distance", "row"),
    [(15.0, 0.5, 306.104885), (15.0, 1.0, 204.254339), (15.0, 2.0, 149.342275), (0.0, 1.0, 350.851252)],
)
def test_row_of_a_distance_on_the_ground(tilt, distance, row):
    """The same forwards: computed with `projectPoints` of OpenCV 5.0.0.93."""
    assert pixel(view(0.2, tilt), distance, 0.0, 0.0) == pytest.approx((320.0, row), abs=1e-5)


def test_the_full_ray_is_needed_with_a_tilt():
    """0.3 m to the right at 1 m: true bearing 16.699 deg, where the column alone would give 16.425 deg.

    The pixel was computed with `projectPoints` of OpenCV 5.0.0.93.
    """
    u, v = pixel(view(0.2, 15.0), 1.0, -0.3, 0.0)
    assert (u, v) == pytest.approx((483.386628, 204.254339), abs=1e-5)
    assert math.degrees(math.atan((u - 320.0) / SIXTY.focal)) == pytest.approx(16.425, abs=1e-3)
    assert math.degrees(direction(view(0.2, 15.0), u, v).bearing) == pytest.approx(-16.699, abs=1e-3)


def test_distance_of_an_apparent_width():
    """Z = f W / w: a target of 66 mm, 30 pixels wide, is 1.219364 m away (derived).

    Of a round target the two edges in sight lie a little before its middle, which is why the middle is not nearer.
    """
    place = locate(view(0.066, 0.0), Extent(305.0, 239.0, 335.0, 250.0), 0.066, 0.066)
    assert place.distance == pytest.approx(1.219364, rel=1e-3)


# R, G, B -> hue, saturation, value on OpenCV's 8-bit scale, to 1 count: computed with Python's
# colorsys, OpenCV 5.0.0.93 and scikit-image 0.26.0, which agree. The formula is that of A. R. Smith, "Color Gamut
# Transform Pairs", SIGGRAPH 1978 (from memory, not checked); the scale is quoted from OpenCV's manual.
PUBLISHED = [
    ((255, 0, 0), (0, 255, 255)),
    ((0, 255, 0), (60, 255, 255)),
    ((0, 0, 255), (120, 255, 255)),
    ((255, 255, 0), (30, 255, 255)),
    ((0, 255, 255), (90, 255, 255)),
    ((255, 0, 255), (150, 255, 255)),
    ((255, 165, 0), (19, 255, 255)),
    ((255, 99, 71), (5, 184, 255)),
    ((70, 130, 180), (104, 156, 180)),
    ((255, 192, 203), (175, 63, 255)),
    ((255, 0, 10), (179, 255, 255)),
    ((255, 0, 1), (0, 255, 255)),
    ((128, 128, 128), (0, 0, 128)),
    ((0, 0, 0), (0, 0, 0)),
]


def hsv_of(rgb):
    return to_hsv(numpy.array([[rgb[::-1]]], numpy.uint8))


@pytest.mark.parametrize(("rgb", "hsv"), PUBLISHED)
def test_hue_saturation_and_value(rgb, hsv):
    assert hsv_of(rgb)[0, 0].tolist() == pytest.approx(list(hsv), abs=1)


@pytest.mark.parametrize("rgb", [(255, 0, 0), (255, 0, 10)])
def test_red_needs_both_ends_of_the_scale(rgb):
    """Bands 0 to 5 and 175 to 179 must both fire: the hues in the table above."""
    assert in_range(hsv_of(rgb), Colour(hue=(175, 5))).all()


def test_orange_read_the_wrong_way_round_is_blue():
    """Swapping red and blue turns orange (255, 165, 0) into hue 101: computed with OpenCV 5.0.0.93."""
    assert hsv_of((0, 165, 255))[0, 0, 0] == 101
