"""What of the field has been looked at, what can be seen from where, and what from nowhere."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.estimate.field import ground_of
from rover.estimate.looked_at import (
    FAILED,
    FEW,
    LOOKS,
    MOST_FAILURES,
    MOST_SQUARES,
    MOST_VISITS,
    LookedAt,
    LookRound,
    Sector,
    Squares,
    is_hidden,
)
from rover.files.errand import FieldPlan

ROUND = LookRound(nearest=0.15, farthest=1.8, room=0.25)
TRAY = {"x": "75 cm", "y": "75 cm", "width": "1.2 m", "depth": "1.2 m"}


def ground(wide=6.0, high=4.0, *walls, zone=None):
    """Return a field with its lower left corner at the origin, and walls ((x1, y1), (x2, y2)) in m."""

    def point(x, y):
        return [f"{x} m", f"{y} m"]

    corners = [point(0, 0), point(wide, 0), point(wide, high), point(0, high)]
    drawn = {f"wall_{number}": [point(*a), point(*b)] for number, (a, b) in enumerate(walls)}
    values = {"boundary": corners, "start": {"x": "1 m", "y": "1 m"}, "walls": drawn, "zone": zone}
    return ground_of(FieldPlan.model_validate(values), 0.05, None)


def look_round(looked_at, x, y, times=LOOKS, farthest=1.8):
    for _ in range(times):
        looked_at.look((x, y), 0.0, Sector(math.pi, 0.0, farthest))


def only_there(_place):
    return False


def search(looked_at):
    """Go to the lookout with most to see, and look, until nothing is worth it."""
    ways = 0
    while worth := looked_at.worth_a_look():
        number, lookout, _ = max(worth, key=lambda each: each[2])
        looked_at.go_to(number)
        look_round(looked_at, lookout.x, lookout.y)
        ways += 1
    return ways


class TestLooking:
    @pytest.fixture
    def looked_at(self):
        return LookedAt(ground(zone=TRAY), ROUND)

    def test_at_first_nothing_has_been_looked_at(self, looked_at):
        assert not looked_at.all
        assert set(looked_at.looks_wanted.values()) == {LOOKS}

    def test_after_looking_round_where_something_is_to_be_seen_all_has(self, looked_at):
        assert 3 < search(looked_at) < len(looked_at.lookouts)
        assert looked_at.all
        assert looked_at.unseen == 0.0

    def test_one_look_can_miss_a_thing(self, looked_at):
        look_round(looked_at, 3.0, 2.0, 1, 10.0)
        assert not looked_at.all
        assert set(looked_at.looks_wanted.values()) == {LOOKS - 1}

    def test_only_what_is_in_view_counts(self, looked_at):
        before = len(looked_at.looks_wanted)
        for _ in range(LOOKS):
            looked_at.look((3.0, 2.0), 0.0, Sector(math.radians(30.0), 0.5, 1.0))
        seen = before - len(looked_at.looks_wanted)
        due = math.pi * (1.0 - 0.5**2) / 6.0 / 0.25**2
        assert seen == pytest.approx(due, abs=2.5)

    def test_what_is_nearer_than_the_camera_sees_does_not(self, looked_at):
        for _ in range(LOOKS):
            looked_at.look((3.0, 2.0), 0.0, Sector(math.pi, 0.5, 0.9))
        squares = Squares(ground(zone=TRAY)).middles
        seen = [square for number, square in enumerate(squares) if number not in looked_at.looks_wanted]
        assert seen
        assert all(0.5 <= math.dist((3.0, 2.0), square) <= 0.9 for square in seen)

    def test_found_something_the_search_begins_again(self, looked_at):
        search(looked_at)
        looked_at.clear()
        assert not looked_at.all

    def test_where_something_is_no_more_it_is_looked_again(self, looked_at):
        search(looked_at)
        looked_at.look_again_about((4.0, 2.0))
        assert not looked_at.all
        assert search(looked_at) == 1
        assert looked_at.all

    def test_the_tray_needs_no_looking_at(self):
        assert not any(abs(x - 0.75) < 0.6 and abs(y - 0.75) < 0.6 for x, y in Squares(ground(zone=TRAY)).middles)

    def test_what_was_looked_at_is_taken_up_again(self, looked_at):
        look_round(looked_at, 3.0, 2.0)
        again = LookedAt(ground(zone=TRAY), ROUND)
        again.restore(looked_at.looks_wanted)
        assert again.worth_a_look() == looked_at.worth_a_look()
        with pytest.raises(ValueError, match="another field"):
            again.restore({9999: 1})


class TestWalls:
    @given(x=st.floats(0.3, 5.7), y=st.floats(0.3, 3.7), heading=st.floats(-3.0, 3.0))
    def test_a_square_counts_only_where_no_wall_is_between(self, x, y, heading):
        field = ground(6.0, 4.0, ((3.0, 0.0), (3.0, 2.5)), ((3.0, 2.5), (4.5, 2.5)))
        looked_at = LookedAt(field, ROUND, [(1.0, 1.0)])
        for _ in range(LOOKS):
            looked_at.look((x, y), heading, Sector(math.radians(60.0), 0.2, 1.8))
        for number, (to_x, to_y) in enumerate(Squares(field).middles):
            if number in looked_at.looks_wanted:
                continue
            if (x - 3.0) * (to_x - 3.0) < 0.0:  # by hand: the line of sight meets x = 3 above the first wall's end
                assert y + (to_y - y) * (3.0 - x) / (to_x - x) >= 2.5 - 1e-9
            if (y - 2.5) * (to_y - 2.5) < 0.0:  # and y = 2.5 beside the second wall
                assert not 3.0 + 1e-9 < x + (to_x - x) * (2.5 - y) / (to_y - y) < 4.5 - 1e-9
            assert math.dist((x, y), (to_x, to_y)) <= 1.8

    def test_behind_a_wall_nothing_has_been_looked_at(self):
        looked_at = LookedAt(ground(6.0, 4.0, ((3.0, 0.0), (3.0, 4.0))), ROUND)
        for y in (0.5, 1.5, 2.5, 3.5):
            look_round(looked_at, 2.5, y)
        squares = Squares(ground(6.0, 4.0)).middles
        wanted = {squares[number] for number in looked_at.looks_wanted}
        assert {square for square in squares if square[0] > 3.0} <= wanted
        assert not any(2.0 < x < 3.0 for x, _ in wanted)

    def test_a_room_that_cannot_be_got_into_is_unseen_once_its_lookouts_have_failed(self):
        field = ground(6.0, 4.0, ((4.0, 2.5), (6.0, 2.5)), ((4.0, 2.5), (4.0, 4.0)))
        looked_at = LookedAt(field, ROUND)
        while worth := looked_at.worth_a_look():
            number, lookout, _ = worth[0]
            looked_at.go_to(number)
            if lookout.x > 4.0 and lookout.y > 2.5:
                looked_at.cannot_reach(only_there)
            else:
                look_round(looked_at, lookout.x, lookout.y)
        assert looked_at.all
        assert looked_at.unseen == pytest.approx(2.0 * 1.5 / 24.0, abs=0.005)

    def test_what_is_cut_off_with_a_lookout_fails_with_it(self):
        """A shut room has many, and to look for a way to each takes some seconds."""
        field = ground(6.0, 4.0, ((4.0, 2.5), (6.0, 2.5)), ((4.0, 2.5), (4.0, 4.0)))
        looked_at = LookedAt(field, ROUND)
        inside = {number for number, one in enumerate(looked_at.lookouts) if one.x > 4.0 and one.y > 2.5}
        for _ in range(MOST_FAILURES):
            looked_at.go_to(min(inside))
            looked_at.cannot_reach(lambda place: place[0] > 4.0 and place[1] > 2.5)
        assert len(inside) > 1
        assert inside == set(range(len(looked_at.lookouts))) - {number for number, _, _ in looked_at.worth_a_look()}

    def test_a_small_box_drawn_as_walls_is_not_worth_a_word(self):
        corners = [(3.0, 1.0), (3.5, 1.0), (3.5, 1.5), (3.0, 1.5)]
        box = list(zip(corners, (*corners[1:], corners[0]), strict=True))
        looked_at = LookedAt(ground(6.0, 4.0, *box), ROUND)
        search(looked_at)
        assert looked_at.unseen == 0.0


class TestLookouts:
    CLOSET = (((5.3, 0.0), (5.3, 3.0)), ((5.3, 3.5), (5.3, 4.0)))
    BEHIND_A_CORNER = (((3.0, 1.0), (6.0, 1.0)), ((5.0, 1.6), (6.0, 1.6)))

    @pytest.mark.parametrize("walls", [(), CLOSET, BEHIND_A_CORNER], ids=["open", "closet", "corridor"])
    def test_every_square_that_a_robot_could_see_is_seen_from_one(self, walls):
        """Held against all places on a grid of 4 cm at which the robot has room to turn."""
        field = ground(6.0, 4.0, *walls)
        squares = Squares(field)
        seen = 0
        for lookout in LookedAt(field, ROUND).lookouts:
            assert field.clearance(lookout.x, lookout.y) > ROUND.room
            seen |= lookout.sees
        for number, middle in enumerate(squares.middles):
            if not seen >> number & 1:
                around = [(0.04 * i, 0.04 * j) for i in range(-45, 46) for j in range(-45, 46)]
                stands = [(middle[0] + dx, middle[1] + dy) for dx, dy in around if 0.15 < math.hypot(dx, dy) < 1.8]
                free = [stand for stand in stands if field.clearance(*stand) > ROUND.room + 0.05]
                assert not any(not is_hidden(stand, middle, squares.walls_near(middle, 3.0)) for stand in free)

    def test_a_room_as_narrow_as_the_robot_needs_has_one(self):
        lookouts = LookedAt(ground(0.7, 0.7), ROUND).lookouts
        assert lookouts
        assert all(abs(one.x - 0.35) < 0.1 and abs(one.y - 0.35) < 0.1 for one in lookouts)

    def test_in_one_that_is_narrower_there_is_none_and_all_is_unseen(self):
        looked_at = LookedAt(ground(0.45, 4.0), ROUND)
        assert looked_at.lookouts == []
        assert looked_at.all
        assert looked_at.unseen == 1.0

    def test_those_of_the_errand_are_taken_as_they_are(self):
        looked_at = LookedAt(ground(), ROUND, [(3.0, 2.0)])
        assert [(one.x, one.y) for one in looked_at.lookouts] == [(3.0, 2.0)]
        assert looked_at.unseen > 0.5

    def test_one_that_could_not_be_reached_comes_after_the_others_and_is_then_left_out_until_something_is_found(self):
        looked_at = LookedAt(ground(), ROUND)
        for _ in range(MOST_FAILURES):
            before = {number: worth for number, _, worth in looked_at.worth_a_look()}
            looked_at.go_to(7)
            looked_at.cannot_reach(only_there)
            after = {number: worth for number, _, worth in looked_at.worth_a_look()}
            assert after.pop(7, 0.0) <= FAILED * before.pop(7)
            assert after == before
        assert 7 not in [number for number, _, _ in looked_at.worth_a_look()]
        looked_at.clear()
        assert min(looked_at.worth_a_look(), key=lambda each: each[2])[0] == 7
        looked_at.go_to(7)
        looked_at.cannot_reach(only_there)
        assert 7 not in [number for number, _, _ in looked_at.worth_a_look()]

    def test_the_search_ends_though_what_should_be_seen_never_is(self):
        looked_at = LookedAt(ground(), ROUND)
        ways = 0
        while worth := looked_at.worth_a_look():
            looked_at.go_to(worth[0][0])
            ways += 1
        assert ways == MOST_VISITS * len(looked_at.lookouts)
        assert looked_at.all
        assert looked_at.unseen == 1.0

    def test_what_is_left_here_and_there_is_not_worth_a_way(self):
        looked_at = LookedAt(ground(), ROUND)
        looked_at.restore(dict.fromkeys(range(FEW), 1))
        assert looked_at.all
        looked_at.restore(dict.fromkeys(range(FEW + 1), 1))
        assert not looked_at.all

    def test_a_large_field_has_larger_squares_and_no_more_of_them(self):
        squares = Squares(ground(30.0, 20.0))
        assert 0.9 * MOST_SQUARES < len(squares.middles) < 1.1 * MOST_SQUARES
        assert squares.side == pytest.approx(math.sqrt(600.0 / MOST_SQUARES))


def test_what_was_looked_at_once_is_not_overlooked_whatever_was_found_since():
    looked_at = LookedAt(ground(), ROUND)
    side, before = looked_at.overlooked
    look_round(looked_at, 3.0, 2.0, times=LOOKS - 1)
    assert looked_at.overlooked == (side, before)
    look_round(looked_at, 3.0, 2.0, times=1)
    looked_at.clear()

    _, after = looked_at.overlooked
    assert after == [place for place in before if math.dist(place, (3.0, 2.0)) > 1.8]
    assert side == 0.25
