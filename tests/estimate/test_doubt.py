"""How far off the robot may stand, along one direction or another."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.estimate.doubt import SURE, Doubt

ANGLE = st.floats(-math.pi, math.pi)


@st.composite
def doubts(draw):
    """Draw a covariance by its axes (m) and their direction (rad)."""
    (a, b), turn = draw(st.tuples(st.floats(0.0, 0.3), st.floats(0.0, 0.3))), draw(ANGLE)
    c, s = math.cos(turn), math.sin(turn)
    return Doubt(a * a * c * c + b * b * s * s, (a * a - b * b) * c * s, a * a * s * s + b * b * c * c)


@given(doubts(), ANGLE)
def test_along_a_direction_it_is_the_square_root_of_the_quadratic_form(doubt, angle):
    unit = np.array([math.cos(angle), math.sin(angle)])
    matrix = np.array([[doubt.xx, doubt.xy], [doubt.xy, doubt.yy]])
    assert doubt.along(*unit) == pytest.approx(math.sqrt(max(0.0, unit @ matrix @ unit)), abs=1e-6)


@given(doubts())
def test_the_worst_is_the_root_of_the_largest_eigenvalue(doubt):
    largest = np.linalg.eigvalsh([[doubt.xx, doubt.xy], [doubt.xy, doubt.yy]])[-1]
    assert doubt.worst == pytest.approx(math.sqrt(max(0.0, largest)), abs=1e-6)


@given(doubts(), ANGLE, ANGLE)
def test_seen_by_a_robot_it_is_the_same_in_the_same_direction(doubt, heading, angle):
    seen = doubt.seen_at(math.cos(heading), math.sin(heading))
    there, here = angle - heading, angle
    assert seen.along(math.cos(there), math.sin(there)) == pytest.approx(
        doubt.along(math.cos(here), math.sin(here)), abs=1e-6
    )


@given(doubts(), st.floats(0.01, 0.5))
def test_made_less_it_keeps_its_shape(doubt, most):
    less = doubt.at_most(most)
    assert less.worst <= most + 1e-9
    assert less == doubt or less.xx * doubt.yy == pytest.approx(less.yy * doubt.xx, abs=1e-9)
    assert SURE.worst == 0.0
