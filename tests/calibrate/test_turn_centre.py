"""Half turns on the spot -> the point about which the base turns."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.calibrate import drive
from rover.calibrate.runs import Geometry, WheelCountSeries
from rover.calibrate.turn_centre import HalfTurnRun, centre_changes, centre_lines, turn_centre

GEOMETRY = Geometry(0.0002, 0.0002, 0.36)
STEPS = 2000


def half_turn(angle, ahead, left, crept=0.0):
    """Return a turn about a point, in small steps; the base creeps forwards so far (m) meanwhile."""
    x = y = heading = 0.0
    turn, way = angle / STEPS, crept / STEPS
    for _ in range(STEPS):
        middle = heading + 0.5 * turn
        along, aside = way + turn * left, -turn * ahead
        x += along * math.cos(middle) - aside * math.sin(middle)
        y += along * math.sin(middle) + aside * math.cos(middle)
        heading += turn
    ways = [np.linspace(0.0, crept + sign * angle * GEOMETRY.track / 2.0, STEPS) / 0.0002 for sign in (-1.0, 1.0)]
    return HalfTurnRun(WheelCountSeries(np.linspace(0.0, 3.0, STEPS), *ways), angle, x, y)


@given(
    angle=st.floats(2.0, 4.0),
    sign=st.sampled_from([1.0, -1.0]),
    ahead=st.floats(-0.05, 0.05),
    left=st.floats(-0.05, 0.05),
    crept=st.floats(-0.05, 0.05),
)
def test_a_turn_about_a_point_gives_that_point(angle, sign, ahead, left, crept):
    """Whatever the angle, and though the base crept meanwhile: its counts tell that."""
    found = turn_centre([half_turn(sign * angle, ahead, left, crept)], GEOMETRY)
    assert found == pytest.approx((ahead, left), abs=2e-4)


def test_half_a_turn_moves_the_middle_by_twice_the_way():
    run = half_turn(math.pi, 0.016, -0.004)
    assert (run.x, run.y) == pytest.approx((0.032, -0.008), abs=1e-6)


def test_what_is_told_and_changed(robot):
    runs = [half_turn(sign * math.pi, 0.016, -0.004) for sign in (1.0, -1.0)]
    assert [(one.key, one.before, one.after) for one in centre_changes(robot, runs, GEOMETRY)] == [
        (("body", "turn_ahead"), "0.0 mm", "16.0 mm"),
        (("body", "turn_left"), "0.0 mm", "-4.0 mm"),
    ]
    assert "+16.0 mm ahead of its middle and -4.0 mm to the left" in centre_lines(runs, GEOMETRY)[0]
    assert centre_lines([], GEOMETRY) == centre_changes(robot, [], GEOMETRY) == ()


@pytest.mark.parametrize("seed", [1, 12])
def test_on_the_bench(seed, robot, stage):
    """By a tape good to 1 mm and on a floor that slips, to 4 mm."""
    _, drivetrain, assistant = stage(seed, floor={"turn_ahead": "2.4 cm", "turn_left": "-1 cm"})
    measured = drive.measure(drivetrain, assistant, robot)
    after = drive.solve(measured, drive.geometry_of(robot))
    assert turn_centre(measured.half_turns, after) == pytest.approx((0.024, -0.010), abs=0.004)
