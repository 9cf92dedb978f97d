"""What takes motion away: which motions, for how long, and how often."""

import pytest

from rover.motion.hold_backs import ALL, BACKWARDS, FORWARDS, LEFT, RIGHT, Count, HoldBacks, all_of, motions_of


@pytest.mark.parametrize(
    ("speed", "turn_rate", "motions"),
    [
        (0.0, 0.0, 0),
        (0.1, 0.0, FORWARDS),
        (-0.1, 0.0, BACKWARDS),
        (0.0, 0.1, LEFT),
        (0.0, -0.1, RIGHT),
        (0.1, -0.1, FORWARDS | RIGHT),
    ],
)
def test_motions_of_a_speed_and_a_turn_rate(speed, turn_rate, motions):
    assert motions_of(speed, turn_rate) == motions


def test_each_motion_is_one_of_its_own():
    assert {FORWARDS, BACKWARDS, LEFT, RIGHT} == {1, 2, 4, 8}
    assert ALL == 15


def test_all_of_some_causes_but_one():
    found = [("obstacle", FORWARDS), ("wall", FORWARDS | LEFT), ("obstacle", RIGHT)]
    assert all_of(found) == FORWARDS | LEFT | RIGHT
    assert all_of(found, but=("wall",)) == FORWARDS | RIGHT
    assert all_of(found, but=("obstacle",)) == FORWARDS | LEFT


class TestCount:
    def test_so_many_within_the_time_are_too_many(self):
        count = Count(3, 1.0)
        for now_ns in (0, 400_000_000):
            count.add(now_ns)
            assert not count.is_too_many
        count.add(1_000_000_000)  # exactly as far apart as counts
        assert count.is_too_many

    def test_those_longer_ago_do_not_count(self):
        count = Count(2, 1.0)
        count.add(0)
        count.add(1_000_000_001)
        assert not count.is_too_many

    def test_afresh(self):
        count = Count(1, 1.0)
        count.add(0)
        count.clear()
        assert not count.is_too_many


class TestHoldBacks:
    def test_one_goes_on_until_its_cause_has_been_gone_for_the_time(self):
        held = HoldBacks(0.5)
        assert held.take([("obstacle", FORWARDS)], 0) == ["obstacle"]
        assert held.take([], 499_999_999) == []
        assert (held.causes, held.taken()) == (("obstacle",), FORWARDS)
        held.take([], 500_000_000)
        assert (held.causes, held.taken()) == ((), 0)

    def test_a_cause_that_comes_again_prolongs_it_and_is_no_news(self):
        held = HoldBacks(0.5)
        held.take([("obstacle", FORWARDS)], 0)
        assert held.take([("obstacle", FORWARDS)], 400_000_000) == []
        held.take([], 800_000_000)
        assert held.causes == ("obstacle",)

    def test_one_that_is_there_still_is_not_dropped_at_a_time_of_zero(self):
        held = HoldBacks(0.0)
        held.take([("obstacle", FORWARDS)], 0)
        assert held.causes == ("obstacle",)
        assert held.take([("obstacle", FORWARDS)], 20_000_000) == []
        assert held.causes == ("obstacle",)

    def test_two_causes_in_the_order_in_which_they_began(self):
        held = HoldBacks(0.5)
        held.take([("wall", LEFT)], 0)
        assert held.take([("obstacle", FORWARDS), ("wall", LEFT)], 1) == ["obstacle"]
        assert held.causes == ("wall", "obstacle")
        assert held.taken(but=("wall",)) == FORWARDS
