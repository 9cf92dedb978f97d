"""The errand's bookkeeping: slots, what is left, whose turn it is, and what is noted of it."""

import json
from pathlib import Path

import pytest

from rover.errand.entries import Account, Filled, Grip, LetGo, PutOff, Standing
from rover.errand.saving import StateMismatchError, restore, saved
from rover.errand.stories import LOOKS_IN_A_ROW
from rover.estimate.looked_at import MOST_FAILURES, Sector
from rover.events import BELIEVED, FELT, SEEN, Delivery, Find, GivenUp, ObjectEvent
from rover.files import yaml_source
from rover.geometry import Pose

GREENHOUSE = Path(__file__).parents[2] / "config/greenhouse.yaml"


def deliver(ledger, kind):
    ledger.filled.append(Filled(next(iter(ledger.free_slots), ledger.ground.slots[-1]), kind))
    ledger.delivered.append(kind)


def search(ledger):
    """Look at all the ground, twice."""
    for x in range(7):
        for y in range(5):
            for heading in (0.0, 1.0):
                ledger.looked_at.look((x, y), heading, Sector(4.0, 0.0, 2.0))


class TestSlots:
    def test_they_are_filled_in_order(self, ledger):
        errand = ledger(expect=3)
        numbers = []
        while free := errand.free_slots:
            numbers.append(free[0].number)
            deliver(errand, "amber")
        assert numbers == sorted(numbers)
        assert len(numbers) >= 3

    def test_what_is_seen_to_stand_off_its_slot_bars_the_next_one(self, ledger):
        errand = ledger(expect=3)
        deliver(errand, "amber")
        (filled, _), following = errand.filled[0], errand.free_slots[0]
        aside = 0.7 * (following.x - filled.x), 0.7 * (following.y - filled.y)
        errand.see_in_slot(filled, (filled.x + aside[0], filled.y + aside[1]))
        assert errand.in_tray == [pytest.approx((filled.x + 0.3 * aside[0], filled.y + 0.3 * aside[1]))]
        for _ in range(10):
            errand.see_in_slot(filled, (filled.x + aside[0], filled.y + aside[1]))
        assert not {filled, following} & set(errand.free_slots)
        assert errand.in_tray == [pytest.approx((filled.x + aside[0], filled.y + aside[1]), abs=0.01)]

    def test_what_is_set_down_in_a_slot_stands_in_its_middle_until_it_is_seen(self, ledger):
        errand = ledger(expect=3)
        slot = errand.free_slots[0]
        errand.see_in_slot(slot, (slot.x + 0.1, slot.y))
        errand.carried = "amber"
        errand.set_down(slot, slot.x, slot.y, 1.0)
        assert errand.in_tray == [(slot.x, slot.y)]

    def test_without_a_tray_there_is_none(self, ledger):
        field = yaml_source.read(GREENHOUSE, GREENHOUSE.name).values["field"]
        assert ledger(field={key: value for key, value in field.items() if key != "zone"}).free_slots == []


class TestLeft:
    def test_where_the_errand_tells_how_many_they_are_counted(self, ledger):
        errand = ledger(expect=2)
        assert errand.left(known=5) == 2
        deliver(errand, "amber")
        assert errand.left(known=0) == 1
        deliver(errand, "amber")
        deliver(errand, "amber")
        assert errand.left(known=0) == 0

    def test_otherwise_there_is_one_at_least_until_the_field_has_been_searched(self, ledger):
        errand = ledger()
        assert errand.left(known=0) == 1
        search(errand)
        assert errand.left(known=0) == 0

    def test_what_is_known_carried_or_put_off_is_left(self, ledger):
        errand = ledger()
        search(errand)
        errand.put_off.append(PutOff("teal", 3.0, 3.0))
        errand.carried = "teal"
        assert errand.left(known=2) == 4

    def test_what_is_not_to_be_fetched_is_not_left(self, ledger):
        errand = ledger(order=["amber"])
        search(errand)
        errand.put_off += [PutOff("teal", 3.0, 3.0), PutOff("amber", 3.0, 1.0)]
        errand.let_go += [LetGo(n, Grip("violet", 2.0, 2.0, 1e-4, 0.0, 1e-4), (2, 2), (2, 2)) for n in range(3)]
        assert errand.left(known=0) == 1
        errand.recall()
        assert errand.left(known=0) == 0


class TestOrder:
    def test_nearest_allows_any(self, ledger):
        assert ledger(order="nearest").kinds_now() is None

    def test_a_list_is_the_order(self, ledger):
        errand = ledger(order=["violet", "amber"])
        deliver(errand, "violet")
        assert errand.kinds_now() == ["violet", "amber"]

    def test_in_turn_begins_with_the_next_kind_each_time(self, ledger):
        errand, firsts = ledger(order="in turn"), []
        for _ in range(4):
            firsts.append(errand.kinds_now()[0])
            deliver(errand, firsts[-1])
        assert firsts == ["amber", "teal", "violet", "amber"]

    def test_in_turn_the_other_kinds_may_come_when_the_next_is_not_to_be_had(self, ledger):
        assert sorted(ledger(order="in turn").kinds_now()) == ["amber", "teal", "violet"]


class TestEvents:
    """Whatever changes the ledger is noted as an event of the step."""

    GRIP = Grip("amber", 2.0, 1.0, 1e-4, 0.0, 1e-4)

    def test_an_object_from_choice_to_delivery(self, ledger):
        errand = ledger(expect=2)
        slot = errand.free_slots[0]
        errand.stories.see(7, "amber", 2.02, 1.0, "in 3 frames")
        errand.stories.choose(7, 2.01, 1.0)
        errand.go_for(Pose(2.01, 1.0, 0.0))
        errand.gripped(self.GRIP)
        for _ in range(LOOKS_IN_A_ROW):
            errand.stories.tell_grip(2.0, 1.0, is_held=True, evidence="camera: held")
        errand.found(self.GRIP)
        errand.set_down(slot, slot.x, slot.y, 0.9)
        assert (errand.delivered, errand.left(known=0)) == ([], 2)
        errand.delivered_by(SEEN, "in 3 of 4 frames")
        assert errand.events == [
            ObjectEvent(1, "amber", "seen", 2.02, 1.0, "in 3 frames"),
            ObjectEvent(1, "amber", "chosen", 2.01, 1.0),
            ObjectEvent(1, "amber", "tried", 2.01, 1.0, "heading 0 deg"),
            ObjectEvent(1, "amber", "gripped", 2.0, 1.0),
            ObjectEvent(1, "amber", "held", 2.0, 1.0, "camera: held"),
            Find(1, *self.GRIP, object=1),
            ObjectEvent(1, "amber", "set down", slot.x, slot.y, f"in slot {slot.number}"),
            Delivery(1, "amber", slot.number, slot.x, slot.y, 0.9, SEEN, 1, "in 3 of 4 frames"),
        ]
        assert (errand.carried, errand.delivered, errand.left(known=0)) == (None, ["amber"], 1)

    def test_what_is_lost_is_carried_no_more_and_counts_as_left(self, ledger):
        errand = ledger(expect=1)
        errand.found(self.GRIP)
        errand.lost(1.0, 2.0)
        errand.lost(1.0, 2.0)
        assert errand.events[1:] == [GivenUp("amber", 1.0, 2.0, "lost on the way", 1)]
        assert (errand.carried, errand.left(known=0)) == (None, 1)

    def test_what_was_put_off_is_recalled_once(self, ledger):
        errand = ledger()
        errand.leave("teal", 3.0, 3.0)
        assert errand.recall() == [PutOff("teal", 3.0, 3.0)]
        assert errand.recall() == []
        assert errand.events == [GivenUp("teal", 3.0, 3.0, "put off")]

    def test_jaws_that_open_over_a_slot_with_nothing_in_them_deliver_nothing(self, ledger):
        errand = ledger(expect=1)
        errand.set_down(errand.free_slots[0], 1.0, 1.0, 0.9)
        errand.delivered_by(BELIEVED)
        assert (errand.events, errand.delivered, errand.believed) == ([], [], [])
        assert len(errand.filled) == 1


class TestLeftThere:
    """Delivered means left there: nothing is counted when the jaws open."""

    GRIP = Grip("amber", 2.0, 1.0, 1e-4, 0.0, 1e-4)

    @pytest.fixture
    def opened(self, ledger):
        """A ledger whose jaws have been opened on an object in the tray."""
        errand = ledger(expect=3)
        errand.found(self.GRIP)
        errand.set_down(errand.free_slots[0], 0.4, 1.2, 0.9)
        return errand

    @pytest.mark.parametrize(
        ("known_by", "account"), [(SEEN, (1, 1, 0, 2)), (FELT, (1, 0, 0, 2)), (BELIEVED, (0, 0, 1, 2))]
    )
    def test_what_nothing_could_tell_is_counted_apart(self, opened, known_by, account):
        opened.delivered_by(known_by)
        assert opened.account(known=0) == Account(*account)
        assert (opened.carried, opened.free_slots[0].number) == (None, 1)

    def test_what_stays_in_the_jaws_is_carried_on_and_its_slot_is_free(self, opened):
        opened.kept()
        assert (opened.carried, opened.free_slots[0].number, opened.delivered) == ("amber", 0, [])

    def test_where_nothing_stands_nothing_was_delivered_and_the_slot_is_free(self, opened):
        opened.not_left()
        assert opened.events[-1] == GivenUp("amber", 0.4, 1.2, "not there after it was set down", 1)
        assert (opened.carried, opened.free_slots[0].number, opened.account(known=0)) == (None, 0, Account(0, 0, 0, 3))

    @pytest.mark.parametrize(
        "then", [lambda errand: errand.found(TestLeftThere.GRIP), lambda errand: errand.lost(1.0, 1.0)]
    )
    def test_what_nobody_looked_at_before_the_robot_went_on_is_believed(self, opened, then):
        then(opened)
        assert opened.believed == ["amber"]

    def test_an_account_in_the_middle_of_it_believes_too(self, opened):
        assert opened.account(known=0) == Account(0, 0, 1, 2)


class TestSaved:
    @pytest.fixture
    def begun(self, ledger):
        """A ledger in which something of everything stands."""
        errand = ledger(expect=4)
        deliver(errand, "teal")
        deliver(errand, "amber")
        errand.finds, errand.visited_places, errand.carried = 3, 2, "violet"
        errand.put_off.append(PutOff("amber", 3.0, 2.5))
        errand.obstacles.touched([(4.0, 1.0)], 0)
        errand.looked_at.look((3.0, 2.0), 0.0, Sector(4.0, 0.0, 1.0))
        return errand

    def test_taken_up_again_it_goes_on_with_the_next_slot_and_knows_the_rest(self, ledger, begun):
        again = ledger(expect=4)
        restore(again, json.loads(json.dumps(saved(begun))))
        assert again.free_slots == begun.free_slots
        assert again.free_slots[0].number == 2
        assert saved(again) == saved(begun)
        assert again.put_off == [PutOff("amber", 3.0, 2.5)]
        assert again.left(known=0) == 2

    def test_what_the_jaws_held_is_not_taken_up(self, ledger, begun):
        again = ledger(expect=4)
        restore(again, saved(begun))
        assert again.carried is None

    def test_another_field_is_another_errand(self, ledger, begun):
        of_another = saved(begun)
        of_another["to_look_at"].append([100_000, 1])
        with pytest.raises(ValueError, match="another field"):
            restore(ledger(expect=4), of_another)

    def test_a_tray_with_fewer_slots_is_another_errand(self, ledger, begun):
        with pytest.raises(StateMismatchError, match="slot 1"):
            restore(ledger(expect=1), saved(begun))


class TestUnseen:
    """What could not be looked at is told, but where the errand says how many there are, and they are in."""

    @pytest.fixture
    def blind(self, ledger):
        def make(**keys):
            errand = ledger(**keys)
            for number in range(len(errand.looked_at.lookouts)):
                for _ in range(MOST_FAILURES):
                    errand.looked_at.go_to(number)
                    errand.looked_at.cannot_reach(lambda place: False)
            return errand

        return make

    def test_while_nobody_says_how_many_there_are_it_leaves_open_whether_something_is_left(self, blind):
        errand = blind()
        deliver(errand, "amber")
        assert (errand.unseen, errand.account(known=0)) == (1.0, (1, 0, 0, 0, 1.0))

    def test_with_all_that_are_expected_in_it_does_not(self, blind):
        errand = blind(expect=2)
        deliver(errand, "amber")
        assert errand.unseen == 1.0
        deliver(errand, "teal")
        assert (errand.unseen, errand.account(known=0)) == (0.0, (2, 0, 0, 0, 0.0))


class TestStanding:
    """What stands in the tray and was not set down takes its room, and is not counted."""

    def test_a_slot_on_it_or_behind_it_is_not_free(self, ledger):
        errand = ledger()
        free = errand.free_slots
        in_way = max(free, key=lambda slot: slot.x)  # the tray is entered along -x: the nearest to its gate
        errand.stands_in_tray(Standing("amber", in_way.x, in_way.y))
        assert {slot.number for slot in errand.free_slots} == {one.number for one in free if one.y != in_way.y}
        assert errand.account(known=0).counted == 0

    def test_seen_again_a_little_elsewhere_it_is_the_same(self, ledger):
        errand = ledger()
        errand.stands_in_tray(Standing("amber", 0.7, 0.7))
        errand.stands_in_tray(Standing("amber", 0.75, 0.7))
        assert errand.standing == [Standing("amber", 0.75, 0.7)]
        assert [event.what for event in errand.events] == ["seen in the tray"]
        errand.stands_in_tray(Standing("amber", 0.95, 0.7))
        assert len(errand.standing) == len(errand.events) == 2

    @pytest.mark.parametrize(("kind", "left"), [("amber", 0), ("teal", 1)])
    def test_what_was_lost_on_its_way_in_is_looked_for_no_more(self, ledger, kind, left):
        errand = ledger()
        errand.found(Grip("amber", 2.0, 1.0, 1e-4, 0.0, 1e-4))
        errand.lost(0.7, 0.7)
        errand.stands_in_tray(Standing(kind, 0.72, 0.7))
        assert len(errand.let_go) == left
