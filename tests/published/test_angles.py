"""Angles and compass headings against values that follow from their definitions, and against an outside library."""

import math

import pytest

from rover.quantities import compass_to_field, field_to_compass, wrap


# Derived from the definition of the half-open turn [-180 deg, 180 deg) with plain arithmetic.
@pytest.mark.parametrize(
    ("angle_deg", "wrapped_deg"),
    [(180.0, -180.0), (-180.0, -180.0), (190.0, -170.0), (-190.0, 170.0), (540.0, -180.0), (359.9, -0.1), (720.0, 0.0)],
)
def test_wrap(angle_deg: float, wrapped_deg: float) -> None:
    assert math.degrees(wrap(math.radians(angle_deg))) == pytest.approx(wrapped_deg, abs=1e-9)


# Derived from the definition: east-north-up angle = wrap(90 deg - compass heading).
COMPASS = [(0.0, 90.0), (45.0, 45.0), (90.0, 0.0), (180.0, -90.0), (270.0, -180.0), (350.0, 100.0)]


@pytest.mark.parametrize(("compass_deg", "angle_deg"), COMPASS)
def test_compass_to_field(compass_deg: float, angle_deg: float) -> None:
    assert math.degrees(compass_to_field(compass_deg)) == pytest.approx(angle_deg, abs=1e-9)


@pytest.mark.parametrize(("compass_deg", "angle_deg"), COMPASS)
def test_field_to_compass(compass_deg: float, angle_deg: float) -> None:
    assert field_to_compass(math.radians(angle_deg)) == pytest.approx(compass_deg, abs=1e-9)


# Computed with pyproj 3.7.2: azimuths of the ellipsoid's geodesics from (0, 0) to 1 deg east, north, west, south.
@pytest.mark.parametrize(
    ("azimuth_deg", "east", "north"), [(90.0, 1.0, 0.0), (0.0, 0.0, 1.0), (-90.0, -1.0, 0.0), (180.0, 0.0, -1.0)]
)
def test_the_sense_of_the_compass(azimuth_deg: float, east: float, north: float) -> None:
    heading = compass_to_field(azimuth_deg)
    assert (math.cos(heading), math.sin(heading)) == pytest.approx((east, north), abs=1e-12)
