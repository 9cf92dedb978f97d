"""The field's geometry: the tray's slots, and what is inside."""

import math
from itertools import combinations, pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.estimate.field import ABREAST, JAWS_ROOM, ground_of
from rover.files.errand import FieldPlan

CORNERS = [["0 m", "0 m"], ["6 m", "0 m"], ["6 m", "4 m"], ["0 m", "4 m"]]
QUARTERS = (0.0, 90.0, 180.0, -90.0)
WIDTH = 0.05


def ground(width=1.2, depth=1.2, *, entry=None, expected=None, body=0.26, **zone):
    place = {"x": "75 cm", "y": "75 cm"} | zone
    sides = {"width": f"{width} m", "depth": f"{depth} m"}
    turned = {} if entry is None else {"entry": f"{entry} deg"}
    field = FieldPlan.model_validate(
        {"boundary": CORNERS, "start": {"x": "3 m", "y": "2 m"}, "zone": place | sides | turned}
    )
    return ground_of(field, WIDTH, expected, body)


side = st.floats(0.2, 3.0)
number = st.none() | st.integers(0, 40)


class TestSlots:
    @given(width=side, depth=side, entry=st.sampled_from(QUARTERS), expected=number)
    def test_all_lie_in_the_zone_with_the_whole_object(self, width, depth, entry, expected):
        made = ground(width, depth, entry=entry, expected=expected)
        assert made.slots
        assert all(made.in_zone(slot.x, slot.y, margin=-0.5 * WIDTH) for slot in made.slots)

    @given(width=side, depth=side, entry=st.sampled_from(QUARTERS), expected=number)
    def test_the_open_jaws_have_room_between_any_two(self, width, depth, entry, expected):
        for one, other in combinations(ground(width, depth, entry=entry, expected=expected).slots, 2):
            assert math.dist((one.x, one.y), (other.x, other.y)) >= WIDTH + JAWS_ROOM - 1e-9

    @given(width=side, depth=side, entry=st.sampled_from(QUARTERS), expected=number)
    def test_they_are_filled_far_to_near_so_that_none_stands_in_the_way_of_the_next(
        self, width, depth, entry, expected
    ):
        made = ground(width, depth, entry=entry, expected=expected)
        c, s = math.cos(made.entry), math.sin(made.entry)
        inwards = [slot.x * c + slot.y * s for slot in made.slots]
        assert all(later <= earlier + 1e-9 for earlier, later in pairwise(inwards))
        assert [slot.number for slot in made.slots] == list(range(len(made.slots)))

    @pytest.mark.parametrize("expected", range(1, 17))
    def test_where_there_is_room_each_expected_object_has_one(self, expected):
        assert len(ground(1.5, 1.5, expected=expected).slots) >= expected

    def test_a_single_one_is_in_the_middle(self):
        (slot,) = ground(expected=1).slots
        assert (slot.x, slot.y) == pytest.approx((0.75, 0.75))

    @pytest.mark.parametrize(
        ("place", "entry"),
        [
            ({"x": "60 cm", "y": "2 m"}, 180.0),
            ({"x": "5.4 m", "y": "2 m"}, 0.0),
            ({"x": "3 m", "y": "3.4 m"}, 90.0),
            ({"x": "3 m", "y": "60 cm"}, -90.0),
        ],
    )
    def test_by_default_the_robot_enters_from_the_open_field(self, place, entry):
        turned = math.degrees(ground(0.8, 0.8, **place).entry) - entry
        assert math.remainder(turned, 360.0) == pytest.approx(0.0)

    def test_without_a_tray_there_are_none(self):
        bare = ground_of(FieldPlan.model_validate({"boundary": CORNERS, "start": {"x": "1 m", "y": "1 m"}}), WIDTH, 3)
        assert bare.slots == ()
        assert not bare.in_zone(1.0, 1.0)


@given(x=st.floats(-2.0, 8.0), y=st.floats(-2.0, 6.0))
def test_clearance_is_negative_outside_and_only_there(x, y):
    clearance = ground().clearance(x, y)
    by_hand = min(x, 6.0 - x, y, 4.0 - y)
    assert clearance == pytest.approx(by_hand, abs=1e-9) if by_hand >= 0.0 else clearance <= 0.0


class TestWayIn:
    """Nothing is driven through what stands in the tray."""

    @given(
        width=side,
        depth=side,
        entry=st.sampled_from(QUARTERS) | st.floats(-180.0, 180.0),
        expected=number,
        body=st.floats(0.1, 0.6),
    )
    def test_filled_in_their_order_each_slot_is_open_when_its_turn_comes(self, width, depth, entry, expected, body):
        made = ground(width, depth, entry=entry, expected=expected, body=body)
        filled = []
        for slot in made.slots:
            assert made.is_open(slot, filled)
            filled.append((slot.x, slot.y))
        assert not any(made.is_open(slot, filled) for slot in made.slots)

    @given(
        width=side,
        depth=side,
        entry=st.sampled_from(QUARTERS) | st.floats(-180.0, 180.0),
        things=st.lists(st.tuples(st.floats(0.1, 1.4), st.floats(0.1, 1.4)), max_size=4),
        body=st.floats(0.1, 0.6),
    )
    def test_an_open_slot_is_driven_into_past_everything(self, width, depth, entry, things, body):
        """By hand: the body is a rectangle that comes up to the slot, from as far off as you like."""
        made = ground(width, depth, entry=entry, body=body)
        c, s = math.cos(made.entry), math.sin(made.entry)
        for slot in (slot for slot in made.slots if made.is_open(slot, things)):
            for x, y in things:
                ahead, left = (x - slot.x) * c + (y - slot.y) * s, (y - slot.y) * c - (x - slot.x) * s
                assert ahead >= ABREAST or abs(left) >= 0.5 * (body + WIDTH)

    def test_a_slot_behind_a_filled_one_is_not_open(self):
        made = ground(1.2, 0.25, entry=0.0)
        far, *others = made.slots
        assert len(others) >= 2
        near = others[-1]
        assert made.is_open(far, [])
        assert not any(made.is_open(slot, [(near.x, near.y)]) for slot in made.slots)
        assert made.is_open(near, [(far.x, far.y)])

    @given(width=side, depth=side, entry=st.floats(-180.0, 180.0))
    def test_entered_aslant_all_slots_lie_in_the_tray_too(self, width, depth, entry):
        made = ground(width, depth, entry=entry)
        assert made.slots
        assert all(made.in_zone(slot.x, slot.y, margin=-0.5 * WIDTH) for slot in made.slots)
        for one, other in combinations(made.slots, 2):
            assert math.dist((one.x, one.y), (other.x, other.y)) >= WIDTH + JAWS_ROOM - 1e-9


class TestEntry:
    def in_field(self, x, y, walls=None):
        zone = {"x": f"{x} m", "y": f"{y} m", "width": "60 cm", "depth": "60 cm"}
        values = {"boundary": CORNERS, "start": {"x": "1 m", "y": "1 m"}, "zone": zone, "walls": walls or {}}
        return math.degrees(ground_of(FieldPlan.model_validate(values), WIDTH, None).entry) % 360.0

    def test_in_the_middle_with_a_wall_on_the_one_side_it_is_entered_from_another(self):
        """From the field's middle, which is on the left of it, 0 deg would be due."""
        assert self.in_field(3.3, 2.0) == pytest.approx(0.0)
        wall = {"partition": [["2.7 m", "0 m"], ["2.7 m", "4 m"]]}
        assert self.in_field(3.3, 2.0, wall) in (pytest.approx(90.0), pytest.approx(180.0), pytest.approx(270.0))

    def test_the_side_with_the_most_room_is_taken(self):
        """In a bay open to the right alone, wherever the field's middle is."""
        walls = {"left": [["3.9 m", "1 m"], ["3.9 m", "3 m"]]}
        walls |= {"above": [["3.9 m", "2.7 m"], ["6 m", "2.7 m"]], "below": [["3.9 m", "1.3 m"], ["6 m", "1.3 m"]]}
        assert self.in_field(4.4, 2.0, walls) == pytest.approx(180.0)
