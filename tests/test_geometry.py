"""Plane geometry: what is inside, how far a segment is, and whether two cross."""

import pytest

from rover.geometry import cross, crossing, crossing_sides, distance_to_segment, inside

NOTCHED = [(0.0, 0.0), (2.0, 0.0), (2.0, 2.0), (1.0, 1.0), (0.0, 2.0)]
CORNER_CUT_OUT = [(0, 0), (4, 0), (4, 2), (2, 2), (2, 4), (0, 4)]


@pytest.mark.parametrize(
    ("polygon", "point", "within"),
    [
        (CORNER_CUT_OUT, (1.0, 1.0), True),
        (CORNER_CUT_OUT, (3.0, 3.0), False),
        (CORNER_CUT_OUT, (1.0, 3.0), True),
        (CORNER_CUT_OUT, (5.0, 1.0), False),
        (NOTCHED, (1.0, 0.5), True),
        (NOTCHED, (1.0, 1.5), False),
    ],
)
def test_inside_a_polygon_that_is_not_convex(polygon, point, within):
    assert inside(point, polygon) is within


def test_distance_to_a_segment():
    assert distance_to_segment((1.0, 1.0), (0.0, 0.0), (2.0, 0.0)) == 1.0
    assert distance_to_segment((5.0, 4.0), (0.0, 0.0), (2.0, 0.0)) == 5.0
    assert distance_to_segment((3.0, 4.0), (0.0, 0.0), (0.0, 0.0)) == 5.0


@pytest.mark.parametrize(("end", "crosses"), [((2.0, 2.0), True), ((0.9, 0.9), False), ((1.0, 1.0), False)])
def test_segments_cross_where_they_do_more_than_touch(end, crosses):
    assert cross((0.0, 0.0), end, (0.0, 2.0), (2.0, 0.0)) is crosses


@pytest.mark.parametrize(
    ("polygon", "sides"),
    [
        (NOTCHED, None),
        (CORNER_CUT_OUT, None),
        ([*CORNER_CUT_OUT, CORNER_CUT_OUT[0]], None),  # closed by its first corner: that is one corner
        ([(0, 0), (4, 4), (4, 0), (0, 4)], (0, 2)),
        ([(0, 0), (4, 0), (4, 4), (2, 0), (0, 4)], (0, 2)),  # a corner on a side
        ([(0, 0), (4, 0), (4, 4), (0, 4), (0, 6)], (2, 4)),
        ([(0, 0), (4, 0), (2, 0), (2, 4)], (0, 1)),  # there and back again
        ([(0, 2), (0, 0), (4, 0), (4, 4), (0, 4), (0, 1)], (0, 4)),
        ([(0, 0), (2, 2), (4, 0), (4, 4), (2, 2), (0, 4)], (0, 3)),  # two that meet in a corner
    ],
)
def test_sides_of_a_polygon_that_meet(polygon, sides):
    assert crossing_sides(polygon) == sides


def test_where_segments_cross():
    assert crossing((0.0, 0.0), (4.0, 2.0), (1.0, -1.0), (1.0, 3.0)) == pytest.approx((1.0, 0.5))
    assert crossing((0.0, 0.0), (4.0, 2.0), (1.0, 0.5), (1.0, 3.0)) is None
