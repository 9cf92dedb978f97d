"""The format: widths, rates, and the signs of angles."""

import math

import pytest
from hypothesis import given

from rover.link import sentences
from rover.link.codec import encode
from rover.link.framing import LONGEST
from rover.link.sentences import DOWNWARDS, UPWARDS, HeadingReport, RateOfTurn, TrueHeading, compass_angle

from .test_codec import own_values


@given(own_values)
def test_a_sentence_is_never_wider_than_the_table_says(value):
    layout = next(layout for layout in UPWARDS + DOWNWARDS if layout.value is type(value))

    assert len(encode(value)) <= layout.width <= LONGEST


@pytest.mark.parametrize("layouts", [UPWARDS, DOWNWARDS], ids=["upwards", "downwards"])
def test_the_worst_case_load_stays_under_60_percent(layouts):
    assert 0.0 < sentences.load(layouts, 115200) < 0.6


def test_a_turn_to_port_is_a_positive_rate():
    assert RateOfTurn(-60.0).rate == pytest.approx(math.radians(1.0))


@pytest.mark.parametrize(("compass_deg", "angle"), [(90.0, 0.0), (0.0, math.pi / 2), (180.0, -math.pi / 2)])
def test_compass_headings_become_field_angles(compass_deg, angle):
    own = HeadingReport(0, 0, 0, int(compass_deg * 100), None, None)

    assert compass_angle(TrueHeading(compass_deg)) == pytest.approx(angle)
    assert compass_angle(own) == pytest.approx(angle)
    assert compass_angle(own._replace(heading_cdeg=None)) is None
