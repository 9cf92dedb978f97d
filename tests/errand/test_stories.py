"""Each object has one number for the whole run."""

import pytest

from rover.errand.stories import SAME_PLACE, Stories
from rover.events import ObjectEvent


@pytest.fixture
def events():
    return []


@pytest.fixture
def stories(events):
    return Stories(events)


def told(events):
    return [(one.number, one.what) for one in events]


def test_objects_are_numbered_as_they_are_first_believed_in(stories, events):
    stories.see(4, "amber", 1.0, 1.0, "in 3 frames")
    stories.see(2, "amber", 1.1, 1.0, "in 3 frames")
    assert events == [
        ObjectEvent(1, "amber", "seen", 1.0, 1.0, "in 3 frames"),
        ObjectEvent(2, "amber", "seen", 1.1, 1.0, "in 3 frames"),
    ]
    assert (stories.knows(4), stories.knows(3)) == (True, False)


@pytest.mark.parametrize(
    ("kind", "away", "number"), [("amber", 0.9 * SAME_PLACE, 1), ("amber", 1.1 * SAME_PLACE, 2), ("teal", 0.0, 2)]
)
def test_one_that_was_forgotten_and_is_seen_there_again_is_the_same(stories, events, kind, away, number):
    stories.see(0, "amber", 1.0, 1.0, "")
    stories.forget(0, "in plain view, and not seen in 12 frames")
    stories.see(1, kind, 1.0 + away, 1.0, "")
    assert told(events)[1:] == [(1, "forgotten"), (number, "seen again" if number == 1 else "seen")]


def test_one_that_was_put_off_and_recalled_is_the_same(stories, events):
    stories.see(0, "amber", 1.0, 1.0, "")
    stories.choose(0, 1.0, 1.0)
    assert stories.leave(1.05, 1.0) == 1
    stories.recall(1, "amber", 1.05, 1.0)
    stories.choose(1, 1.05, 1.0)
    assert told(events) == [(1, "seen"), (1, "chosen"), (1, "recalled"), (1, "chosen")]


def test_one_that_was_lost_on_its_way_and_gripped_again_is_the_same(stories):
    stories.see(0, "amber", 1.0, 1.0, "")
    stories.choose(0, 1.0, 1.0)
    assert stories.find(1, "amber", 1.0, 1.0) == 1
    assert stories.let_go(3.0, 3.0) == 1
    stories.see(1, "amber", 3.9, 3.0, "")  # farther off than it could be told apart by place
    stories.choose(1, 3.9, 3.0)
    assert stories.find(1, "amber", 3.9, 3.0) == 1


def test_what_is_found_without_having_been_seen_gets_a_number(stories, events):
    assert stories.find(1, "amber", 1.0, 1.0) == 1
    assert stories.let_go(2.0, 2.0) == 1
    assert stories.let_go(2.0, 2.0) == 0
    assert events == []


def test_each_grip_begins_with_nothing_told(stories, events):
    stories.see(0, "amber", 1.0, 1.0, "")
    stories.choose(0, 1.0, 1.0)
    for _ in range(2):
        stories.close_jaws(1.0, 1.0)
        assert stories.grip is None
        stories.tell_grip(1.0, 1.0, is_held=False, evidence="gripper: not held")
        assert stories.grip is False
    assert [one.what for one in events[2:]] == ["gripped", "not held", "gripped", "not held"]
