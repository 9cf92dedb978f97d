"""A range finder that tells too much is known by walls on two sides of the robot; a robot that is elsewhere is not."""

import math

import pytest

from rover.core.beyond import BEYOND, WITHIN_WAY, Beyond, Wall
from rover.estimate.covariance import STATES

NORTH, WEST, SOUTH = math.pi / 2.0, math.pi, -math.pi / 2.0
SIGMA = 0.02


def heard(*echoes):
    """Return what is said of echoes, each so far beyond (m) a wall in a direction; a number alone is a way between."""
    beyond, said = Beyond(), ""
    for echo in echoes:
        if isinstance(echo, float):
            beyond.move(echo)
        else:
            direction, off = echo
            said = said or beyond.hear(1.5 + off, Wall(1.5, direction, SIGMA))
    return said


@pytest.mark.parametrize("off", [0.15, 0.3, 0.6])
def test_beyond_the_walls_on_both_sides(off):
    assert heard((NORTH, off), (SOUTH, off + 0.1), (NORTH, off))


def test_as_far_beyond_both_walls_of_a_corner():
    assert heard((NORTH, 0.3), (WEST, 0.32), (WEST, 0.31))


@pytest.mark.parametrize(
    "echoes",
    [
        [(NORTH, 0.3), (WEST, 0.45)] * 3,
        [(NORTH, 0.3), (SOUTH, -0.3)] * 3,
        [(NORTH, 0.3)] * 9,
        [(NORTH, 0.05), (SOUTH, 0.05)] * 3,
    ],
    ids=["a corner, by chance", "a robot that is elsewhere", "a gate that stands open", "noise"],
)
def test_what_another_place_of_the_robot_explains_or_of_one_wall_tells_nothing(echoes):
    assert not heard(*echoes)


def moves(x, y):
    return [x, y, *[0.0] * (STATES - 2)]


def test_a_wall_that_was_believed_at_last_still_tells():
    """The position was moved by 30 cm until the first wall agreed; the second contradicts that."""
    beyond = Beyond()
    for _ in range(3):
        beyond.hear(1.8, Wall(1.5, WEST, SIGMA))
    assert not beyond.hear(1.8, Wall(1.8, WEST, SIGMA, moves(0.3, 0.0)))
    assert beyond.hear(1.8, Wall(1.5, NORTH, SIGMA, moves(0.3, 0.0)))
    assert beyond.moves == moves(0.3, 0.0)


def test_a_robot_that_truly_was_elsewhere_agrees_with_the_second_wall():
    beyond = Beyond()
    for _ in range(3):
        beyond.hear(1.8, Wall(1.5, WEST, SIGMA))
    assert not any(beyond.hear(1.5, Wall(1.6, NORTH, SIGMA, moves(0.3, -0.1))) for _ in range(5))


def test_what_moved_a_position_that_was_unsure_tells_nothing():
    """Off by a tenth along both axes, as it may be at a sigma of 6 cm; the fixes make it sure, and agree."""
    beyond = Beyond()
    for direction, moved in ((SOUTH, moves(0.0, 0.1)), (0.0, moves(-0.1, 0.1))):
        beyond.hear(1.6, Wall(1.5, direction, 0.06, moves(0.0, 0.1 if direction == 0.0 else 0.0)))
        assert not any(beyond.hear(1.6, Wall(1.6, direction, 0.01, moved)) for _ in range(3))


def test_what_has_moved_the_position_long_ago_counts_no_more():
    beyond = Beyond()
    beyond.hear(1.5, Wall(1.5, WEST, SIGMA))
    beyond.hear(1.5, Wall(1.5, WEST, SIGMA, moves(0.3, 0.0)))
    beyond.move(WITHIN_WAY)
    beyond.hear(1.5, Wall(1.5, WEST, SIGMA, moves(0.4, 0.0)))
    assert beyond.moves == moves(0.0, 0.0)


def test_two_stray_echoes_tell_nothing():
    assert not heard((NORTH, 0.3), (SOUTH, 0.5))


def test_what_was_heard_long_ago_tells_nothing():
    assert not heard((NORTH, 0.3), (NORTH, 0.3), WITHIN_WAY, (SOUTH, 0.3))


def test_a_wall_that_is_heard_where_it_is_takes_back_what_was_said_of_it():
    assert not heard((NORTH, 0.3), (NORTH, 0.3), (NORTH, 0.0), (SOUTH, 0.3), (SOUTH, 0.3))


def test_where_the_robot_is_unsure_of_its_place_more_is_due():
    beyond = Beyond()
    walls = [Wall(1.5, NORTH, BEYOND), Wall(1.5, SOUTH, BEYOND)] * 3
    assert not any(beyond.hear(1.8, wall) for wall in walls)
