"""The field's geometry: the tray's slots, and what is inside."""

import math
from itertools import combinations, pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.estimate.field import JAWS_ROOM, ground_of
from rover.files.errand import FieldPlan

CORNERS = [["0 m", "0 m"], ["6 m", "0 m"], ["6 m", "4 m"], ["0 m", "4 m"]]
QUARTERS = (0.0, 90.0, 180.0, -90.0)
WIDTH = 0.05


def ground(width=1.2, depth=1.2, *, entry=None, expected=None, **zone):
    place = {"x": "75 cm", "y": "75 cm"} | zone
    sides = {"width": f"{width} m", "depth": f"{depth} m"}
    turned = {} if entry is None else {"entry": f"{entry} deg"}
    field = FieldPlan.model_validate(
        {"boundary": CORNERS, "start": {"x": "3 m", "y": "2 m"}, "zone": place | sides | turned}
    )
    return ground_of(field, WIDTH, expected)


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
