"""Colour ranges and patches: against the standard library's conversion and scipy's labels."""

import colorsys
import subprocess
import sys

import cv2
import numpy
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import ndimage

from rover.files.robot import Colour
from rover.vision.colour import has_shape, in_range, mask_of, patches_of, to_hsv

RED = Colour(hue=(175, 5))
EVERYTHING = Colour.model_validate(
    {
        "hue": [0, 179],
        "saturation": [1, 255],
        "value": [1, 255],
        "area": [0, 1],
        "aspect": [0.001, 1000],
        "fill": [0, 1],
    }
)
byte = st.integers(0, 255)


def one_pixel(red, green, blue):
    return numpy.array([[[blue, green, red]]], numpy.uint8)


@given(byte, byte, byte)
def test_hue_saturation_and_value_are_those_of_the_standard_library(red, green, blue):
    hue, saturation, value = to_hsv(one_pixel(red, green, blue))[0, 0].astype(int)
    due_hue, due_saturation, due_value = colorsys.rgb_to_hsv(red / 255, green / 255, blue / 255)
    assert abs((hue - 180 * due_hue + 90) % 180 - 90) <= 1.0
    assert abs(saturation - 255 * due_saturation) <= 1.0
    assert value == 255 * due_value


def test_blue_green_and_red_are_not_mixed_up():
    """Orange, which the wrong order would make a sky blue of hue 101."""
    orange = Colour(hue=(14, 26))
    assert in_range(to_hsv(one_pixel(255, 165, 0)), orange)[0, 0] == 255
    assert in_range(to_hsv(one_pixel(0, 165, 255)), orange)[0, 0] == 0


@pytest.mark.parametrize(
    ("rgb", "inside"),
    [
        ((255, 0, 0), 255),
        ((255, 0, 10), 255),
        ((255, 0, 1), 255),
        ((255, 40, 0), 255),
        ((255, 80, 0), 0),
        ((90, 0, 255), 0),
    ],
)
def test_a_range_of_hues_may_cross_zero(rgb, inside):
    assert in_range(to_hsv(one_pixel(*rgb)), RED)[0, 0] == inside


def test_grey_and_black_have_no_colour():
    frame = numpy.stack([one_pixel(128, 128, 128), one_pixel(0, 0, 0), one_pixel(255, 255, 255)])[:, 0]
    assert not in_range(to_hsv(frame), Colour(hue=(0, 179))).any()


@given(st.integers(0, 10_000))
def test_patches_are_the_connected_parts_that_scipy_finds(seed):
    draws = numpy.random.default_rng(seed)
    frame = numpy.zeros((60, 80, 3), numpy.uint8)
    for _ in range(6):
        x, y, w, h = (int(draws.integers(low, high)) for low, high in ((0, 70), (0, 50), (1, 20), (1, 15)))
        frame[y : y + h, x : x + w] = (40, 160, 230)
    mask = mask_of(to_hsv(frame), EVERYTHING)
    labels, count = ndimage.label(mask, numpy.ones((3, 3)))
    sizes = ndimage.sum_labels(mask > 0, labels, range(1, count + 1)).astype(int)
    boxes = [(rows.start, rows.stop, columns.start, columns.stop) for rows, columns in ndimage.find_objects(labels)]
    due = [(box, size) for box, size in zip(boxes, sizes.tolist(), strict=True) if size >= 4]
    found = patches_of(frame, {"any": EVERYTHING})
    assert len(found) == len(due)
    for (top, bottom, left, right), size in due:
        same = [patch for patch in found if patch.extent[:4] == pytest.approx((left, top, right, bottom), abs=1.25)]
        assert size in [patch.area for patch in same]


def test_specks_are_opened_away_and_reflections_closed():
    frame = numpy.full((240, 320, 3), 140, numpy.uint8)
    frame[100:112, 100:130] = (40, 160, 230)
    frame[105:107, 112:114] = 255
    frame[20:40:4, 20:60:4] = (40, 160, 230)
    mask = mask_of(to_hsv(frame), Colour(hue=(14, 26)))
    assert mask[100:112, 100:130].all()
    assert not mask[:60].any()


def test_a_far_lid_of_one_row_survives_the_opening():
    frame = numpy.full((240, 320, 3), 140, numpy.uint8)
    frame[80, 100:107] = (40, 160, 230)
    assert len(patches_of(frame, {"amber": Colour(hue=(14, 26))})) == 1


@pytest.mark.parametrize(
    ("area", "aspect", "fill", "wanted"),
    [
        (0.01, 2.0, 0.8, True),
        (0.6, 2.0, 0.8, False),
        (1e-6, 2.0, 0.8, False),
        (0.01, 20.0, 0.8, False),
        (0.01, 2.0, 0.2, False),
    ],
)
def test_size_and_shape_are_limited(area, aspect, fill, wanted):
    assert has_shape(RED, area, aspect, fill) is wanted


@pytest.mark.parametrize("blur", [0.01, 0.6, 1.0])
@pytest.mark.parametrize("ground", [(140, 140, 140), (60, 120, 90)])
def test_edges_are_found_within_a_fifth_of_a_pixel(blur, ground):
    """A rectangle drawn at sixteenths of a pixel, averaged down, and seen through a lens that is a little soft."""
    for shift in range(0, 16, 3):
        fine = numpy.full((60 * 16, 80 * 16, 3), ground, numpy.uint8)
        fine[25 * 16 + shift : 33 * 16 + shift, 30 * 16 + shift : 42 * 16] = (40, 160, 230)
        frame = cv2.GaussianBlur(cv2.resize(fine, (80, 60), interpolation=cv2.INTER_AREA), (0, 0), blur)
        (patch,) = patches_of(frame, {"amber": Colour(hue=(12, 28))})
        due = (30 + shift / 16, 25 + shift / 16, 42, 33 + shift / 16)
        assert patch.extent[:4] == pytest.approx(due, abs=0.2)


def test_no_patch_comes_out_without_a_width():
    """Specks that touch, hide and cut each other: the neighbour's colour is taken for the background."""
    draws, tints = numpy.random.default_rng(1), ((50, 166, 230), (128, 128, 29), (128, 44, 74))
    for _ in range(40):
        frame = numpy.full((120, 160, 3), 140, numpy.uint8)
        for x, y in draws.integers((0, 0), (160, 120), (500, 2)).tolist():
            cv2.circle(frame, (x, y), int(draws.integers(2)), tints[int(draws.integers(3))], -1)
        for patch in patches_of(frame, {"teal": Colour(hue=(82, 98)), "violet": Colour(hue=(122, 148))}):
            left, top, right, bottom = patch.extent[:4]
            assert right - left >= 0.5
            assert bottom - top >= 0.5


def test_the_modules_are_imported_without_opencv():
    code = "import sys, rover.vision.detector, rover.vision.calibrate_camera; sys.exit('cv2' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
