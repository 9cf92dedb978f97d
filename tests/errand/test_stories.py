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


def test_each_grip_begins_with_nothing_told_and_what_is_told_often_enough_in_a_row_is_noted(stories, events):
    stories.see(0, "amber", 1.0, 1.0, "")
    stories.choose(0, 1.0, 1.0)
    for _ in range(2):
        stories.close_jaws(1.0, 1.0)
        for is_held in (True, True, False, False, False, False):
            stories.tell_grip(1.0, 1.0, is_held=is_held, evidence="gripper: not held")
    assert [one.what for one in events[2:]] == ["gripped", "not held", "gripped", "not held"]


def test_what_is_between_the_jaws_is_neither_missing_nor_taken_for_the_next_target(stories, events):
    stories.see(0, "amber", 1.0, 1.0, "")
    stories.see(1, "teal", 2.0, 1.0, "")
    stories.choose(0, 1.0, 1.0)
    stories.close_jaws(1.0, 1.0)
    stories.forget(0, "in plain view, and not seen in 12 frames")
    stories.choose(1, 2.0, 1.0)
    assert stories.find(1, "amber", 1.0, 1.0) == 1
    stories.happens("set down", 0.3, 0.3, "in slot 1")
    assert stories.let_go(0.3, 0.3) == 1
    assert told(events)[2:] == [(1, "chosen"), (1, "gripped"), (2, "chosen"), (1, "set down")]


class TestWhyLeft:
    def test_each_reason_once_the_latest_first(self, stories):
        stories.see(0, "amber", 1.0, 1.0, "")
        stories.choose(0, 1.0, 1.0)
        for why in ("closed on nothing", "no way", "closed on nothing"):
            stories.trouble(why)
        assert stories.why_left() == "closed on nothing (2 times); no way"

    def test_where_the_tries_were_used_up_on_another_that_one_is_named(self, stories):
        stories.see(0, "amber", 1.0, 1.0, "")
        stories.see(1, "teal", 2.0, 1.0, "")
        stories.choose(0, 1.0, 1.0)
        stories.close_jaws(1.0, 1.0)
        stories.choose(1, 2.0, 1.0)
        stories.trouble("closed on nothing")
        assert stories.why_left() == "the tries were used up on object 1: closed on nothing"

    def test_without_any_it_was_a_choice(self, stories):
        assert stories.why_left() == "by choice: no try failed"
