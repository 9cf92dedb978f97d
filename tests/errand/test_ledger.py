"""The errand's bookkeeping: slots, what is left, whose turn it is, and what is done with."""

import json
from pathlib import Path

import pytest

from rover.errand.ledger import PUT_OFF_RADIUS, Filled, Ledger, PutOff
from rover.estimate.field import LookedAt, ground_of
from rover.files import yaml_source
from rover.files.errand import Errand

GREENHOUSE = Path(__file__).parents[2] / "config/greenhouse.yaml"


@pytest.fixture
def ledger():
    """Make a ledger of the greenhouse errand; keys of the errand file are changed by name."""

    def make(**keys):
        errand = Errand.model_validate(yaml_source.read(GREENHOUSE, GREENHOUSE.name).values | keys)
        ground = ground_of(errand.field, 0.05, errand.expect)
        return Ledger(errand, ground, LookedAt(ground))

    return make


def deliver(ledger, kind):
    ledger.filled.append(Filled(ledger.slot, kind))
    ledger.delivered.append(kind)


def search(ledger):
    """Look at all the ground, twice."""
    for x in range(7):
        for y in range(5):
            for heading in (0.0, 1.0):
                ledger.looked_at.look((x, y), heading, 4.0, 2.0)


class TestSlots:
    def test_they_are_filled_in_order(self, ledger):
        errand = ledger(expect=3)
        numbers = []
        while errand.slot is not None:
            numbers.append(errand.slot.number)
            deliver(errand, "amber")
        assert numbers == sorted(numbers)
        assert len(numbers) >= 3

    def test_without_a_tray_there_is_none(self, ledger):
        field = yaml_source.read(GREENHOUSE, GREENHOUSE.name).values["field"]
        assert ledger(field={key: value for key, value in field.items() if key != "zone"}).slot is None


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


class TestDoneWith:
    def test_what_stands_in_the_tray_is(self, ledger):
        errand = ledger()
        assert errand.is_done_with("amber", 0.75, 0.75, 0.02)
        assert errand.is_done_with("amber", 1.39, 0.75, 0.02)
        assert not errand.is_done_with("amber", 1.6, 0.75, 0.02)

    def test_what_was_put_off_is(self, ledger):
        errand = ledger()
        errand.put_off.append(PutOff("teal", 3.0, 3.0))
        assert errand.is_done_with("amber", 3.0 + 0.9 * PUT_OFF_RADIUS, 3.0, 0.01)
        assert not errand.is_done_with("amber", 3.0 + 1.1 * PUT_OFF_RADIUS, 3.0, 0.01)
        assert errand.is_done_with("amber", 3.0 + 1.1 * PUT_OFF_RADIUS, 3.0, 0.3)

    def test_seen_vaguely_from_far_off_a_jar_in_the_tray_may_seem_to_stand_beside_it(self, ledger):
        errand = ledger(expect=1)
        slot = errand.slot
        deliver(errand, "amber")
        assert errand.is_done_with("amber", slot.x + 0.9, slot.y, 0.35)
        assert not errand.is_done_with("teal", slot.x + 0.9, slot.y, 0.35)
        assert not errand.is_done_with("amber", slot.x + 0.9, slot.y, 0.05)


class TestSaved:
    @pytest.fixture
    def begun(self, ledger):
        """A ledger in which something of everything stands."""
        errand = ledger(expect=4)
        deliver(errand, "teal")
        deliver(errand, "amber")
        errand.finds, errand.visited_places, errand.carried = 3, 2, "violet"
        errand.put_off.append(PutOff("amber", 3.0, 2.5))
        errand.obstacles.append((4.0, 1.0))
        errand.looked_at.look((3.0, 2.0), 0.0, 4.0, 1.0)
        return errand

    def test_taken_up_again_it_goes_on_with_the_next_slot_and_knows_the_rest(self, ledger, begun):
        again = ledger(expect=4)
        again.restore(json.loads(json.dumps(begun.saved())))
        assert again.slot == begun.slot
        assert again.slot.number == 2
        assert again.saved() == begun.saved()
        assert again.is_done_with("violet", 3.0, 2.5, 0.01)
        assert again.left(known=0) == 2

    def test_what_the_jaws_held_is_not_taken_up(self, ledger, begun):
        again = ledger(expect=4)
        again.restore(begun.saved())
        assert again.carried is None

    def test_another_field_is_another_errand(self, ledger, begun):
        saved = begun.saved()
        saved["to_look_at"].append([100_000, 1])
        with pytest.raises(ValueError, match="another field"):
            ledger(expect=4).restore(saved)

    def test_a_tray_with_fewer_slots_is_another_errand(self, ledger, begun):
        with pytest.raises(KeyError):
            ledger(expect=1).restore(begun.saved())
