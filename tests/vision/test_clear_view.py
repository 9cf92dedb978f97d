"""What hides an object from the camera, and what does not."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.vision.clear_view import ClearView

EYE, PLACE = (0.0, 0.0), (2.0, 0.0)


@pytest.mark.parametrize(
    "wall",
    [
        ((1.0, -1.0), (1.0, 1.0)),
        ((1.0, 0.0), (1.0, 1.0)),
        ((1.0, 0.02), (1.0, 1.0)),  # the object is not a point
        ((1.0, -1.0), (1.0, -0.02)),
        ((0.5, 0.02), (1.5, 0.02)),
    ],
)
def test_a_wall_in_between_hides(wall):
    assert not ClearView([wall], ()).reaches(EYE, PLACE, 0.0)


@pytest.mark.parametrize(
    "wall",
    [
        ((1.0, 0.1), (1.0, 1.0)),
        ((2.1, -1.0), (2.1, 1.0)),
        ((-0.5, -1.0), (-0.5, 1.0)),
        ((0.0, 0.1), (3.0, 0.1)),
    ],
)
def test_one_beside_or_behind_does_not(wall):
    assert ClearView([wall], ()).reaches(EYE, PLACE, 0.0)


def test_one_that_may_be_in_between_hides_as_far_as_the_place_is_unsure():
    clear = ClearView([((1.0, 0.1), (1.0, 1.0))], ())
    assert clear.reaches(EYE, PLACE, 0.05)
    assert not clear.reaches(EYE, PLACE, 0.15)


def test_a_wall_that_may_stand_elsewhere_hides_what_is_beside_it_and_things_are_placed_from_here():
    beside = ((1.9, 0.1), (1.9, 1.0))
    assert ClearView([beside], ()).reaches(EYE, PLACE, 0.0)
    assert not ClearView([beside], (), off=0.06).reaches(EYE, PLACE, 0.0)
    assert ClearView([beside], [(1.0, 0.1)], off=0.03).reaches(EYE, PLACE, 0.0)


def test_what_stands_in_front_hides_and_the_object_itself_does_not():
    assert not ClearView((), [(1.0, 0.03)]).reaches(EYE, PLACE, 0.0)
    assert ClearView((), [(1.0, 0.2), (1.95, 0.0), PLACE, (2.5, 0.0), (-0.5, 0.0)]).reaches(EYE, PLACE, 0.0)


@given(
    along=st.floats(0.1, 1.8),
    across=st.floats(-0.3, 0.3),
    turn=st.floats(-math.pi, math.pi),
    doubt=st.floats(0.0, 0.2),
    more=st.floats(0.0, 0.2),
)
def test_it_is_the_same_whichever_way_it_is_looked_and_doubt_clears_no_view(along, across, turn, doubt, more):
    c, s = math.cos(turn), math.sin(turn)
    turned = ClearView((), [(along * c - across * s, along * s + across * c)])
    straight = ClearView((), [(along, across)])
    place = (2.0 * c, 2.0 * s)
    if abs(across) > 0.06 or abs(across) < 0.03:  # at the very edge rounding decides
        assert turned.reaches(EYE, place, 0.0) == straight.reaches(EYE, PLACE, 0.0)
    assert straight.reaches(EYE, PLACE, doubt) or not straight.reaches(EYE, PLACE, doubt + more)
