"""Which echoes a known wall explains."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.estimate.walls_heard import BESIDE, NEARER, is_explained, to_walls
from rover.geometry import Pose, distance_to_segment

HALF = math.radians(15.0)
AHEAD = [((1.0, -2.0), (1.0, 2.0))]


@pytest.mark.parametrize(("distance", "explained"), [(0.96, False), (0.98, True), (1.05, True), (1.07, False)])
def test_a_wall_square_ahead(distance, explained):
    assert is_explained(distance, to_walls(Pose(0.0, 0.0, 0.0), HALF, AHEAD)) is explained


@pytest.mark.parametrize(
    "wall",
    [
        ((-1.0, -2.0), (-1.0, 2.0)),  # behind
        ((0.0, 0.5), (0.5, 0.5)),  # beside the cone
        ((1.0, 0.5), (1.0, 2.0)),
    ],
)
def test_one_that_is_not_in_the_cone_explains_nothing(wall):
    assert not is_explained(1.2, to_walls(Pose(0.0, 0.0, 0.0), HALF, [wall]))


def test_one_that_slants_is_heard_by_the_nearer_edge_of_the_cone():
    """As in a narrow doorway that the robot turns into."""
    wall = [((-1.0, 0.2), (3.0, 0.2))]
    angle = HALF + BESIDE
    nearest = 0.2 / math.sin(angle)
    assert is_explained(nearest - NEARER + 1e-6, to_walls(Pose(0.0, 0.0, 0.0), HALF, wall))
    assert not is_explained(nearest - NEARER - 1e-6, to_walls(Pose(0.0, 0.0, 0.0), HALF, wall))


@given(
    ends=st.tuples(*[st.floats(-3.0, 3.0)] * 4),
    x=st.floats(-3.0, 3.0),
    y=st.floats(-3.0, 3.0),
    heading=st.floats(-math.pi, math.pi),
)
def test_it_is_the_nearest_of_the_walls_places_in_the_cone(ends, x, y, heading):
    a, b = (ends[0], ends[1]), (ends[2], ends[3])
    places = [(a[0] + k / 400 * (b[0] - a[0]), a[1] + k / 400 * (b[1] - a[1])) for k in range(401)]
    within = [
        math.dist(place, (x, y))
        for place in places
        if math.dist(place, (x, y)) > 1e-6  # at the sensor itself there is no bearing
        and abs(math.remainder(math.atan2(place[1] - y, place[0] - x) - heading, math.tau)) <= HALF + BESIDE
    ]
    sensor = Pose(x, y, heading)
    if within:
        assert is_explained(min(within) - NEARER + 1e-6, to_walls(sensor, HALF, [(a, b)]))
    assert not is_explained(distance_to_segment((x, y), a, b) - NEARER - 1e-6, to_walls(sensor, HALF, [(a, b)]))
