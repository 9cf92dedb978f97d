"""What can be reached is what there is room for, by the geometry that the planner goes by."""

import math
from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.estimate.field import Ground, ground_of
from rover.feasibility.reachable import clearances, reach_of
from rover.files.errand import FieldPlan
from rover.files.robot import Robot
from rover.geometry import XY
from rover.motion.free_space import FreeSpace

HALL: Sequence[XY] = ((0.0, 0.0), (6.0, 0.0), (6.0, 4.0), (0.0, 4.0))
BAY: Sequence[XY] = ((0.0, 0.0), (6.0, 0.0), (6.0, 2.0), (4.0, 2.0), (4.0, 4.0), (0.0, 4.0))
NEED = 0.18


def ground(walls: Sequence[tuple[XY, XY]], boundary: Sequence[XY] = HALL) -> Ground:
    def text(place: XY) -> list[str]:
        return [f"{metres} m" for metres in place]

    named = {f"wall_{number}": [text(end) for end in ends] for number, ends in enumerate(walls)}
    field = {"boundary": [text(corner) for corner in boundary], "start": {"x": "1 m", "y": "1 m"}, "walls": named}
    return ground_of(FieldPlan.model_validate(field), 0.05, None)


def partition(doorway: float, middle: float, x: float = 3.0) -> list[tuple[XY, XY]]:
    """Return a wall across the hall with a doorway in it."""
    return [((x, 0.0), (x, middle - 0.5 * doorway)), ((x, middle + 0.5 * doorway), (x, 4.0))]


MIDDLES = st.floats(0.5, 3.5)
PLACES = st.tuples(st.floats(-0.5, 6.5), st.floats(-0.5, 4.5))


@given(place=PLACES, walls=st.lists(st.tuples(PLACES, PLACES), max_size=4), boundary=st.sampled_from([HALL, BAY]))
def test_distances_are_those_of_the_ground(place: XY, walls: list[tuple[XY, XY]], boundary: Sequence[XY]) -> None:
    there = ground(walls, boundary)
    assert clearances(np.array([place]), there)[0] == pytest.approx(there.clearance(*place), abs=1e-9)


@given(place=PLACES, walls=st.lists(st.tuples(PLACES, PLACES), max_size=3))
def test_where_the_planner_has_no_room_for_the_body_nothing_is_reached(place: XY, walls: list[tuple[XY, XY]]) -> None:
    there = ground(walls)
    reach = reach_of(there, (1.0, 1.0), NEED)
    row, column = reach.square_at(place)
    if reach.reached[row, column]:
        assert there.clearance(*reach.middle((row, column))) >= NEED - 0.5 * math.sqrt(2.0) * reach.square


@given(middle=MIDDLES, x=st.floats(2.0, 4.0))
def test_a_doorway_that_is_wide_enough_is_passed_wherever_it_is(middle: float, x: float) -> None:
    reach = reach_of(ground(partition(2.0 * NEED, middle, x)), (1.0, 1.0), NEED)
    assert reach.comes_to((5.0, 2.0))
    assert reach.share > 0.98


@given(middle=MIDDLES, x=st.floats(2.0, 4.0))
def test_one_that_is_too_narrow_is_not_and_its_width_is_told(middle: float, x: float) -> None:
    reach = reach_of(ground(partition(2.0 * NEED - 0.03, middle, x)), (1.0, 1.0), NEED)
    assert not reach.comes_to((5.0, 2.0))
    passage = reach.narrowest((1.0, 1.0), (5.0, 2.0))
    assert passage is not None
    assert passage.width == pytest.approx(2.0 * NEED - 0.03, abs=0.002)
    assert (passage.x, passage.y) == (pytest.approx(x, abs=0.02), pytest.approx(middle, abs=0.02))


def test_the_widest_way_is_looked_for() -> None:
    two = [((3.0, 0.0), (3.0, 1.0)), ((3.0, 1.3), (3.0, 2.5)), ((3.0, 3.0), (3.0, 4.0))]
    passage = reach_of(ground(two), (1.0, 1.0), NEED).narrowest((1.0, 1.0), (5.0, 1.0))
    assert passage is not None
    assert passage.width == pytest.approx(0.5, abs=0.002)


def test_walls_without_a_doorway_let_nothing_through_not_even_aslant() -> None:
    there = ground([((2.0, 4.0), (2.0, 1.5)), ((2.0, 1.5), (4.01, 0.0))])
    reach = reach_of(there, (1.0, 1.0), NEED)
    assert not reach.comes_to((5.0, 2.0))
    assert reach.narrowest((1.0, 1.0), (5.0, 2.0)) is None
    assert 0.2 < reach.share < 0.5


def test_a_start_near_a_wall_counts_from_beside_it() -> None:
    assert reach_of(ground([]), (0.14, 1.0), NEED).comes_to((5.0, 2.0))


def test_a_start_with_a_wall_between_does_not_begin_beyond_it() -> None:
    reach = reach_of(ground([((0.2, 0.0), (0.2, 4.0))]), (0.18, 1.0), NEED)
    assert not reach.reached.any()


def test_where_the_planner_has_room_the_body_comes(robot: Robot) -> None:
    there = ground(partition(0.5, 2.0))
    reach, space = reach_of(there, (1.0, 1.0), NEED), FreeSpace(robot, there, 0.05)
    for x in np.arange(0.05, 6.0, 0.1):
        for y in np.arange(0.05, 4.0, 0.1):
            if space.disc_room(x, y) >= NEED:
                assert reach.comes_to((x, y))


@pytest.fixture
def robot() -> Robot:
    body = {"wheel_diameter": "72 mm", "track": "24 cm", "counts_per_rev": 1320, "gripper_reach": "16 cm"}
    devices = {"drive": {"driver": "simulated"}, "counts": {"driver": "simulated"}}
    return Robot.model_validate({"robot": "Cart", "body": body, "devices": devices})


def test_what_a_margin_keeps_it_from_is_not_covered() -> None:
    whole, less = (reach_of(ground([]), (1.0, 1.0), NEED + margin, margin).share for margin in (0.0, 0.5))
    assert whole > 0.98
    assert less == pytest.approx(5.0 * 3.0 / 24.0, abs=0.02)


def test_a_large_field_has_no_more_squares_than_it_takes() -> None:
    hall = ground([], ((0.0, 0.0), (200.0, 0.0), (200.0, 200.0), (0.0, 200.0)))
    assert reach_of(hall, (1.0, 1.0), NEED).room.size <= 251_001
