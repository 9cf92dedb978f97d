"""One object makes one find, however often it is gripped."""

import pytest

from rover.errand.entries import Grip
from rover.errand.saving import restore, saved
from rover.events import SEEN, TAKEN_OUT, Find, ObjectEvent
from rover.geometry import Pose

GRIP = Grip("amber", 2.0, 1.0, 1e-4, 0.0, 1e-4)


def gripped_again(ledger, lost_at, grip):
    errand = ledger()
    errand.found(GRIP)
    errand.held(*lost_at)
    errand.lost(*lost_at)
    errand.events.clear()
    errand.found(grip)
    return errand


def test_gripped_again_where_it_was_found_the_later_find_counts(ledger):
    again = GRIP._replace(x=2.08)
    errand = gripped_again(ledger, (1.9, 1.0), again)
    assert (errand.finds, errand.events) == (1, [Find(1, *again, object=1)])


def test_brought_away_and_lost_it_was_found_where_it_was_found_first(ledger):
    errand = gripped_again(ledger, (1.0, 3.0), GRIP._replace(x=1.05, y=3.0))
    assert (errand.finds, errand.events) == (1, [ObjectEvent(1, "amber", "gripped again", 1.05, 3.0, "find 1")])


def test_what_slipped_out_lies_anywhere_between_where_it_was_held_and_missed(ledger):
    errand = ledger()
    errand.found(GRIP)
    errand.held(1.8, 1.0)
    errand.lost(1.0, 1.0)
    errand.found(GRIP._replace(x=1.4))
    assert errand.finds == 1


@pytest.mark.parametrize(
    "other", [GRIP._replace(x=3.0), GRIP._replace(x=2.2, kind="teal")], ids=["elsewhere", "other kind"]
)
def test_another_object_is_another_find(ledger, other):
    errand = gripped_again(ledger, (2.0, 1.0), other)
    assert errand.finds == 2
    assert errand.left(known=0) == 2  # the one that was lost, and the one that is carried


def test_what_seems_to_be_of_another_kind_in_the_very_same_place_is_not(ledger):
    assert gripped_again(ledger, (2.0, 1.0), GRIP._replace(x=2.05, kind="teal")).finds == 1


def test_what_is_carried_has_been_found_already(ledger):
    errand = ledger()
    errand.found(GRIP)
    errand.found(GRIP)
    assert errand.finds == 1


@pytest.mark.parametrize(("tried", "finds"), [([2.3, 2.4], 1), ([2.4], 2), ([2.3, 2.6], 2)], ids=["on", "far", "gap"])
def test_each_try_in_vain_may_have_pushed_it_on(ledger, tried, finds):
    errand = ledger()
    errand.found(GRIP)
    errand.lost(GRIP.x, GRIP.y)
    for x in tried:
        errand.go_for(Pose(x, GRIP.y, 0.0))
    errand.found(GRIP._replace(x=2.5))
    assert errand.finds == finds


class TestByItsStory:
    """It was lost between (1.9, 1.0) and (1.5, 1.0), and lies elsewhere: the robot pushed it on when it turned away."""

    def gripped(self, errand, kind, x, y, memory):
        errand.stories.choose(memory, x, y)
        grip = Grip(kind, x, y, 1e-4, 0.0, 1e-4)
        errand.gripped(grip)
        errand.found(grip)

    @pytest.fixture
    def errand(self, ledger):
        errand = ledger()
        errand.stories.see(1, "amber", 2.0, 1.0, "")
        errand.stories.see(2, "amber", 1.5, 1.8, "")
        self.gripped(errand, "amber", 2.0, 1.0, memory=1)
        errand.held(1.9, 1.0)
        errand.lost(1.5, 1.0)
        return errand

    @pytest.mark.parametrize(("x", "y"), [(1.4, 0.2), (2.6, 1.7)], ids=["where it was missed", "where it was gripped"])
    def test_what_was_first_seen_later_and_near_by_is_it(self, errand, x, y):
        errand.stories.see(3, "amber", x, y, "")
        self.gripped(errand, "amber", x, y, memory=3)
        assert (errand.finds, errand.let_go) == (1, [])

    def test_what_has_its_story_is_it_wherever_it_is_gripped(self, errand):
        errand.stories.see(3, "amber", 1.45, 1.1, "")
        self.gripped(errand, "amber", 0.4, 1.1, memory=3)
        assert (errand.finds, errand.let_go) == (1, [])

    @pytest.mark.parametrize(
        ("kind", "x", "y", "memory"),
        [("amber", 1.5, 1.8, 2), ("amber", 3.2, 1.0, 3), ("teal", 1.4, 0.2, 3)],
        ids=["seen before", "far off", "another kind"],
    )
    def test_another_is_another(self, errand, kind, x, y, memory):
        if memory == 3:
            errand.stories.see(3, kind, x, y, "")
        self.gripped(errand, kind, x, y, memory)
        assert (errand.finds, len(errand.let_go)) == (2, 1)

    def test_after_a_restart_stories_tell_nothing(self, errand, ledger):
        after = ledger()
        restore(after, saved(errand))
        after.stories.see(3, "amber", 1.4, 0.2, "")
        self.gripped(after, "amber", 1.4, 0.2, memory=3)
        assert (after.finds, len(after.let_go)) == (2, 1)


def test_of_two_that_were_lost_it_is_the_one_that_lay_where_it_is_gripped(ledger):
    errand = ledger()
    for x in (2.0, 2.7):
        errand.found(GRIP._replace(x=x))
        errand.lost(x, GRIP.y)
    for x in (2.36, 2.49, 2.62):
        errand.go_for(Pose(x, GRIP.y, 0.0))
    errand.found(GRIP._replace(x=2.7))
    assert [one.number for one in errand.let_go] == [1]


class TestTakenOutOfTheTray:
    """What stands beside the tray after all, pushed out or set down there, is gripped again and counted once."""

    @pytest.fixture
    def errand(self, ledger):
        errand = ledger(expect=2)
        errand.stories.see(1, "amber", 2.0, 1.0, "")
        self.bring(errand, 1, GRIP)
        return errand

    def bring(self, errand, memory, grip):
        """Grip what has this number in the target memory, and leave it in the tray."""
        errand.stories.choose(memory, grip.x, grip.y)
        errand.gripped(grip)
        errand.found(grip)
        slot = errand.free_slots[0]
        errand.set_down(slot, slot.x, slot.y, 1.0)
        errand.delivered_by(SEEN)
        errand.stories.open_jaws()
        errand.stories.forget(memory, "")
        return slot

    @pytest.mark.parametrize("beside", [0.1, -0.2])
    def test_seen_anew_beside_where_it_was_set_down_it_is_the_same(self, errand, beside):
        slot = errand.filled[0].slot
        errand.stories.see(2, "amber", slot.x, slot.y + beside, "")
        assert self.bring(errand, 2, GRIP._replace(x=slot.x, y=slot.y + beside)) == slot
        assert (errand.finds, errand.delivered, errand.left(known=0)) == (1, ["amber"], 1)
        assert errand.account(known=0).seen == 1

    @pytest.mark.parametrize(
        ("kind", "beside"), [("teal", 0.1), ("amber", 0.4)], ids=["of another kind", "farther off"]
    )
    def test_another_is_another(self, errand, kind, beside):
        slot = errand.filled[0].slot
        errand.stories.see(2, kind, slot.x, slot.y + beside, "")
        self.bring(errand, 2, GRIP._replace(kind=kind, x=slot.x, y=slot.y + beside))
        assert (errand.finds, errand.delivered) == (2, ["amber", kind])

    def test_it_is_told_and_counted_no_more_while_it_is_carried(self, errand):
        slot = errand.filled[0].slot
        grip = GRIP._replace(x=slot.x, y=slot.y + 0.1)
        errand.stories.see(2, "amber", grip.x, grip.y, "")
        errand.stories.choose(2, grip.x, grip.y)
        errand.events.clear()
        errand.gripped(grip)
        errand.found(grip)
        assert (
            ObjectEvent(1, "amber", TAKEN_OUT, grip.x, grip.y, "it had been counted as left in slot 0") in errand.events
        )
        assert (errand.delivered, errand.seen, errand.filled, errand.left(known=0)) == ([], 0, [], 2)

    def test_where_another_was_lost_near_by_it_is_still_the_one_in_the_jaws(self, errand):
        slot = errand.filled[0].slot
        errand.found(GRIP)
        errand.lost(slot.x, slot.y + 0.4)
        errand.stories.see(3, "amber", slot.x, slot.y + 0.2, "")
        self.bring(errand, 3, GRIP._replace(x=slot.x, y=slot.y + 0.2))
        assert (errand.finds, errand.delivered, [one.number for one in errand.let_go]) == (2, ["amber"], [2])

    def test_one_that_was_hidden_behind_it_is_another(self, ledger):
        errand = ledger(expect=2)
        errand.stories.see(1, "amber", 2.0, 1.0, "")
        errand.stories.choose(1, 2.0, 1.0)
        errand.gripped(GRIP)
        errand.found(GRIP)
        behind = GRIP._replace(x=2.2)
        errand.stories.see(2, "amber", behind.x, behind.y, "")
        slot = errand.free_slots[0]
        errand.set_down(slot, slot.x, slot.y, 1.0)
        errand.delivered_by(SEEN)
        assert self.bring(errand, 2, behind) != slot
        assert (errand.finds, errand.delivered) == (2, ["amber", "amber"])

    def test_what_nobody_looked_at_before_the_next_was_gripped_is_believed(self, ledger):
        errand = ledger(expect=2)
        errand.stories.see(1, "amber", 2.0, 1.0, "")
        errand.stories.see(2, "teal", 3.0, 1.0, "")
        errand.stories.choose(1, 2.0, 1.0)
        errand.gripped(GRIP)
        errand.found(GRIP)
        slot = errand.free_slots[0]
        errand.set_down(slot, slot.x, slot.y, 1.0)
        errand.stories.choose(2, 3.0, 1.0)
        teal = GRIP._replace(kind="teal", x=3.0)
        errand.gripped(teal)
        errand.found(teal)
        assert (errand.believed, errand.carried, errand.finds) == (["amber"], "teal", 2)

    def test_one_that_was_known_of_before_is_another(self, ledger):
        errand = ledger(expect=2)
        slot = errand.free_slots[0]
        errand.stories.see(1, "amber", 2.0, 1.0, "")
        errand.stories.see(2, "amber", slot.x, slot.y + 0.2, "")
        self.bring(errand, 1, GRIP)
        self.bring(errand, 2, GRIP._replace(x=slot.x, y=slot.y + 0.2))
        assert (errand.finds, errand.delivered) == (2, ["amber", "amber"])
