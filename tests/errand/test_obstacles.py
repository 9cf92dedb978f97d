"""What was met: where it is avoided, and for how long; and which of some guesses a second touch leaves."""

import pytest

from rover.errand.obstacles import HEARD_NS, ONE_THING, TOUCHED_NS, Obstacles

FRONT_LEFT, FRONT_RIGHT, REAR = (1.0, 0.3), (1.0, -0.3), (0.4, 0.3)


@pytest.fixture
def obstacles():
    return Obstacles([])


def places(obstacles):
    return [(one.x, one.y) for one in obstacles.now(1)]


def test_what_was_touched_is_avoided_for_longer_than_what_was_heard(obstacles):
    obstacles.touched([FRONT_LEFT], 0)
    obstacles.heard([REAR], 0)
    assert [(one.x, one.y) for one in obstacles.now(HEARD_NS)] == [FRONT_LEFT]
    assert obstacles.now(TOUCHED_NS) == []
    assert [event.text for event in obstacles.events] == [
        "something touched at x 1.00 m, y 0.30 m",
        "something heard at x 0.40 m, y 0.30 m",
    ]


def test_what_was_only_heard_is_forgotten_when_asked(obstacles):
    obstacles.touched([FRONT_LEFT], 0)
    assert not obstacles.forget_heard()
    obstacles.heard([REAR], 0)
    assert obstacles.forget_heard()
    assert places(obstacles) == [FRONT_LEFT]


def test_a_turn_that_ran_into_something_bars_all_places_where_it_may_be(obstacles):
    obstacles.touched_at_one_of([FRONT_LEFT, FRONT_RIGHT, REAR], 0)
    assert places(obstacles) == [FRONT_LEFT, FRONT_RIGHT, REAR]


def test_a_second_touch_near_one_of_them_tells_that_it_was_that_one(obstacles):
    """Three guesses round the robot boxed it in, two of them at places that are free."""
    obstacles.touched_at_one_of([FRONT_LEFT, FRONT_RIGHT, REAR], 0)
    again = FRONT_LEFT[0] + 0.5 * ONE_THING, FRONT_LEFT[1]
    assert obstacles.was_touched_at(again)
    obstacles.touched_at_one_of([again], 0)
    assert places(obstacles) == [FRONT_LEFT, again]


def test_a_touch_somewhere_else_tells_nothing_of_them(obstacles):
    obstacles.touched_at_one_of([FRONT_LEFT, FRONT_RIGHT], 0)
    assert not obstacles.was_touched_at((2.0, 0.0))
    obstacles.touched_at_one_of([(2.0, 0.0), (2.0, 1.0)], 0)
    assert len(places(obstacles)) == 4


def test_what_was_pushed_at_stands_all_along_the_front(obstacles):
    """A wall, perhaps; to touch one end of it again does not clear the other."""
    obstacles.touched([FRONT_LEFT, FRONT_RIGHT], 0)
    obstacles.touched_at_one_of([FRONT_LEFT], 0)
    assert set(places(obstacles)) == {FRONT_LEFT, FRONT_RIGHT}


def test_what_was_heard_is_not_what_was_touched(obstacles):
    obstacles.heard([FRONT_LEFT], 0)
    assert not obstacles.was_touched_at(FRONT_LEFT)
