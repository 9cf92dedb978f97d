import math
from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.motion.route import Circle, length, route

MARGIN = 0.2
START, GOAL = (0.5, 2.0), (5.5, 2.0)


def sampled(points, spacing=0.01):
    for a, b in pairwise(points):
        steps = max(1, math.ceil(math.dist(a, b) / spacing))
        for index in range(steps + 1):
            share = index / steps
            yield a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])


def test_a_free_way_is_a_straight_line(field):
    assert route(START, GOAL, [], field, MARGIN) == [GOAL]
    assert route(START, GOAL, [Circle(3.0, 3.0, 0.3)], field, MARGIN) == [GOAL]


def test_a_thing_in_the_way_is_passed_on_its_nearer_side(field):
    way = route(START, GOAL, [Circle(3.0, 1.9, 0.3)], field, MARGIN)
    assert way[-1] == GOAL
    assert all(y >= 2.0 for _, y in way)
    assert length([START, *way]) < 5.2


def test_where_the_nearer_side_is_off_the_field_the_other_is_taken(field):
    start, goal = (0.5, 3.6), (5.5, 3.6)
    way = route(start, goal, [Circle(3.0, 3.5, 0.5)], field, MARGIN)
    assert min(y for _, y in way) < 3.1


circles = st.lists(st.builds(Circle, st.floats(0.2, 5.8), st.floats(0.2, 3.8), st.floats(0.05, 0.5)), max_size=6)
points = st.tuples(st.floats(0.3, 5.7), st.floats(0.3, 3.7))


@given(start=points, goal=points, circles=circles)
def test_a_route_keeps_clear_of_all_circles_and_inside_the_boundary(field, start, goal, circles):
    """Of a circle that holds the start or the goal, as far as that allows."""
    way = route(start, goal, circles, field, MARGIN)
    if way is None:
        return
    assert way[-1] == goal
    for x, y in sampled([start, *way]):
        assert field.clearance(x, y) >= 0.2 - 1e-9
        for circle in circles:
            room = min(math.dist((circle.x, circle.y), end) for end in (start, goal))
            if room > circle.radius:
                assert math.dist((x, y), (circle.x, circle.y)) >= min(circle.radius, room - 0.01) - 1e-6


@given(
    start=points, goal=points, circle=st.builds(Circle, st.floats(1.5, 4.5), st.floats(1.5, 2.5), st.floats(0.05, 0.5))
)
def test_past_a_single_thing_there_is_always_a_way(field, start, goal, circle):
    assert route(start, goal, [circle], field, MARGIN) is not None


def test_no_way_leads_through_a_wall(field):
    walled = replace(field, walls=(((3.0, 0.0), (3.0, 4.0)),))
    assert route(START, GOAL, [], walled, MARGIN) is None


def test_a_ring_of_things_has_no_way_in(field):
    ring = [
        Circle(3 + 0.8 * math.cos(angle), 2 + 0.8 * math.sin(angle), 0.35)
        for angle in map(math.radians, range(0, 360, 30))
    ]
    assert route(START, (3.0, 2.0), ring, field, MARGIN) is None


def test_length():
    assert length([(0.0, 0.0), (3.0, 4.0), (3.0, 5.0)]) == pytest.approx(6.0)
    assert length([(1.0, 1.0)]) == 0.0


WALL = ((3.0, 1.0), (3.0, 3.2))


def crosses(points, a, b):
    """Tell whether a line through points crosses a segment along x = constant or y = constant."""
    return any(math.dist(point, near) < 0.02 for point in sampled(points) for near in sampled([a, b]))


def test_a_wall_is_passed_beyond_its_nearer_end(field):
    way = route(START, GOAL, [], replace(field, walls=(WALL,)), MARGIN)
    assert not crosses([START, *way], *WALL)
    assert way[-1] == GOAL
    assert min(math.dist(point, WALL[0]) for point in way) > MARGIN
    assert length([START, *way]) < 5.6


def test_a_wall_from_edge_to_edge_has_no_way_round(field):
    assert route(START, GOAL, [], replace(field, walls=(((3.0, 0.0), (3.0, 4.0)),)), MARGIN) is None


def test_round_the_inner_corner_of_a_field_that_is_not_convex(field):
    corners = ((0.0, 0.0), (6.0, 0.0), (6.0, 1.5), (3.0, 1.5), (3.0, 4.0), (0.0, 4.0))
    edges = tuple((corners[at - 1], corner) for at, corner in enumerate(corners))
    shape = replace(field, boundary=corners, edges=edges, walls=())
    start, goal = (1.0, 3.5), (5.5, 0.7)
    way = route(start, goal, [], shape, MARGIN)
    assert way[-1] == goal
    assert all(shape.clearance(*point) > 0.12 for point in sampled([start, *way]))
