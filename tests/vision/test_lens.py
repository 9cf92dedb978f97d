"""Rays and pixels: against OpenCV's own functions, and by the laws that a projection keeps."""

import math

import cv2
import numpy
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.vision.lens import Lens, MountedLens, direction, focal_length, pixel, ray, view_of

FOCAL = focal_length(320, math.radians(60.0))
PLAIN = MountedLens(Lens(320, 240, FOCAL), 0.22, math.radians(15.0))
BENT = (-0.28, 0.09, 0.002, -0.001, -0.012)

bearings = st.floats(-0.45, 0.45)
distances = st.floats(0.3, 3.0)


@pytest.mark.parametrize("distortion", [(), BENT, BENT[:4], (0.1,)])
def test_rays_are_those_of_opencv(distortion):
    lens = Lens(320, 240, FOCAL, distortion)
    matrix = numpy.array([[FOCAL, 0, 160], [0, FOCAL, 120], [0, 0, 1.0]])
    coefficients = numpy.array((*distortion, 0, 0, 0, 0, 0)[:5], float)
    points = numpy.array([[[u, v]] for u in (5.0, 100.0, 160.0, 315.0) for v in (5.0, 120.0, 235.0)])
    criteria = (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 100, 1e-12)
    due = cv2.undistortPoints(points, matrix, coefficients, criteria=criteria)
    for (u, v), (x, y) in zip(points[:, 0], due[:, 0], strict=True):
        assert ray(lens, u, v) == pytest.approx((x, y), abs=1e-5)


@pytest.mark.parametrize("distortion", [(), BENT])
def test_pixels_are_those_of_opencv(scene, distortion):
    device = scene.camera(tilt="25 deg", distortion=list(distortion))
    view = view_of(device, 320, 240)
    for point in ((0.4, 0.1, 0.06), (1.0, -0.3, 0.0), (2.5, 0.9, 0.22), (0.3, 0.0, 0.0)):
        u, v = scene.project(device, [point])[0] + 0.5  # there, pixels have their middles at whole numbers
        assert pixel(view, *point) == pytest.approx((u, v), abs=1e-6)


def test_a_point_behind_the_lens_has_no_pixel():
    assert pixel(PLAIN, -0.5, 0.0, 0.0) is None


@given(distances, bearings, st.sampled_from([(), BENT]), st.floats(-0.1, 0.7))
def test_a_pixel_leads_back_to_its_point(distance, bearing, distortion, tilt):
    view = MountedLens(Lens(320, 240, FOCAL, distortion), 0.22, tilt)
    found = pixel(view, distance * math.cos(bearing), distance * math.sin(bearing), 0.0)
    if found is None or not (0 <= found[0] <= 320 and 0 <= found[1] <= 240):
        return
    back = direction(view, *found)
    assert back.bearing == pytest.approx(bearing, abs=1e-4)
    assert 0.22 / back.fall == pytest.approx(distance, rel=1e-3)


@given(bearings, distances)
def test_left_and_right_are_alike(bearing, distance):
    u, v = pixel(PLAIN, distance * math.cos(bearing), distance * math.sin(bearing), 0.0)
    one, other = direction(PLAIN, u, v), direction(PLAIN, 320.0 - u, v)
    assert one.bearing == pytest.approx(-other.bearing, abs=1e-9)
    assert one.fall == pytest.approx(other.fall, abs=1e-9)
