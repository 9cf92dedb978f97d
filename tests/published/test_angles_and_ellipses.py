"""Ellipses, and laws of angles, against outside libraries and their definitions."""

import math

import numpy as np
import pytest
from filterpy.stats import covariance_ellipse
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import chi2

from rover.estimate.ellipse import CHI_SQUARE_2_95, ellipse_95
from rover.quantities import compass_to_field, field_to_compass, wrap


# Chi-square with two degrees of freedom, by scipy.
def test_the_quantile():
    assert float(chi2.ppf(0.95, 2)) == pytest.approx(CHI_SQUARE_2_95, abs=1e-12)
    assert pytest.approx(-2.0 * math.log(0.05), abs=1e-12) == CHI_SQUARE_2_95


# P = [[4, 1], [1, 2]], derived with plain arithmetic.
def test_a_worked_ellipse():
    ellipse = ellipse_95(4.0, 1.0, 2.0)
    assert (ellipse.major_m, ellipse.minor_m) == pytest.approx((5.142723, 3.082399), abs=1e-6)
    assert math.degrees(ellipse.angle_rad) == pytest.approx(22.5)


sigma = st.floats(0.005, 0.5)


# filterpy gives its angle up to half a turn, so that is compared modulo pi.
@given(a=sigma, b=sigma, correlation=st.floats(-0.95, 0.95))
def test_any_ellipse_is_that_of_filterpy(a, b, correlation):
    xx, xy, yy = a * a, correlation * a * b, b * b
    angle, major, minor = covariance_ellipse(np.array([[xx, xy], [xy, yy]]), deviations=math.sqrt(CHI_SQUARE_2_95))
    ellipse = ellipse_95(xx, xy, yy)
    assert (ellipse.major_m, ellipse.minor_m) == pytest.approx((major, minor), rel=1e-6, abs=1e-9)
    if major > 1.01 * minor:
        assert math.remainder(ellipse.angle_rad - angle, math.pi) == pytest.approx(0.0, abs=1e-5)


def test_it_holds_95_percent_of_what_it_is_the_ellipse_of():
    """20 000 draws with a fixed seed: the share is 0.95 give or take 0.005 (three standard deviations)."""
    covariance = np.array([[0.04, 0.01], [0.01, 0.02]])
    points = np.random.default_rng(1).multivariate_normal([0.0, 0.0], covariance, 20_000)
    ellipse = ellipse_95(0.04, 0.01, 0.02)
    c, s = math.cos(ellipse.angle_rad), math.sin(ellipse.angle_rad)
    along, across = points @ [c, s] / ellipse.major_m, points @ [-s, c] / ellipse.minor_m
    assert np.mean(along**2 + across**2 <= 1.0) == pytest.approx(0.95, abs=0.005)


def test_a_point_known_exactly_has_an_ellipse_of_no_size():
    assert (ellipse_95(0.0, 0.0, 0.0).major_m, ellipse_95(0.0, 0.0, 0.0).minor_m) == (0.0, 0.0)


# The law behind the table of test_angles.py.
@given(st.floats(-1e4, 1e4))
def test_wrap_is_the_same_angle_in_half_a_turn_either_way(angle):
    wrapped = wrap(angle)
    assert -math.pi <= wrapped < math.pi
    assert math.remainder(wrapped - angle, math.tau) == pytest.approx(0.0, abs=1e-9)


@given(st.floats(0.0, 359.999))
def test_compass_and_back(compass_deg):
    back = field_to_compass(compass_to_field(compass_deg))
    assert math.remainder(back - compass_deg, 360.0) == pytest.approx(0.0, abs=1e-9)
