"""Ways for the whole body: clear of everything, over its whole length, wherever there is one."""

import math
from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rover.geometry import Pose
from rover.motion import planner
from rover.motion.explored import Explored
from rover.motion.free_space import Clearance, FreeSpace, Thing
from rover.motion.goal import Goal
from rover.motion.outline import RoomDue
from rover.motion.planner import WaySearch
from rover.quantities import wrap

MARGIN = 0.03
START = Pose(0.5, 2.0, 0.0)
NICHE = (((5.0, 2.69), (6.0, 2.69)), ((5.0, 2.31), (6.0, 2.31)))


@pytest.fixture(scope="module")
def way(robot, field):
    """Search for a way over the field with some walls and things; return it with what keeps the outline clear."""

    def search(start, *goals, walls=(), things=(), explored=None):
        space = FreeSpace(robot, replace(field, walls=walls), 0.05)
        clearance = Clearance(space, space.outlines[0], RoomDue(MARGIN), things, start, explored)
        searching = WaySearch(clearance, start, goals, robot.body.width)
        while not searching.is_over:
            searching.work(100)
        return searching.legs, clearance

    return search


def driven(start, legs, every=0.01):
    """Yield the poses of a way, turns on the spot included."""
    at = start
    for leg in legs:
        steps = 1 + int(abs(leg.turn) / 0.05)
        yield from (at._replace(heading=at.heading + leg.turn * index / steps) for index in range(steps + 1))
        at = at._replace(heading=at.heading + leg.turn)
        steps = 1 + int(math.hypot(leg.x - at.x, leg.y - at.y) / every)
        for index in range(steps + 1):
            share = index / steps
            yield Pose(at.x + share * (leg.x - at.x), at.y + share * (leg.y - at.y), at.heading)
        at = Pose(leg.x, leg.y, at.heading)


def gap(middle, width, x=3.0):
    """Return the two walls of a partition with a doorway."""
    return (((x, 0.0), (x, middle - 0.5 * width)), ((x, middle + 0.5 * width), (x, 4.0)))


def test_a_free_way_is_a_turn_and_a_straight_leg(way):
    (leg,), _ = way(START, Goal(5.0, 3.0))
    assert (leg.x, leg.y, leg.back) == (5.0, 3.0, False)
    assert leg.turn == pytest.approx(math.atan2(1.0, 4.5))


def test_a_thing_in_the_way_is_passed_with_room(way):
    legs, clearance = way(START, Goal(5.5, 2.0), things=[Thing(3.0, 1.9, 0.05, 0.05)])
    assert len(legs) <= 3
    assert all(clearance.at(pose) >= -1e-6 for pose in driven(START, legs))


@pytest.mark.parametrize("middle", [0.9, 2.0, 2.7])
def test_a_doorway_of_the_bodys_width_and_15_cm_is_passed_straight(way, robot, middle):
    legs, _ = way(START, Goal(5.0, 3.0), walls=gap(middle, robot.body.width + 0.15))
    places = [START, *legs]
    through = next((a, b) for a, b in pairwise(places) if a.x < 3.0 <= b.x)
    assert abs(math.atan2(through[1].y - through[0].y, through[1].x - through[0].x)) < math.radians(10.0)
    assert through[0].x < 3.0 - 0.5 * robot.body.length
    assert through[1].x > 3.0 + 0.5 * robot.body.length


def test_a_doorway_too_narrow_for_the_body_is_none(way, robot):
    assert way(START, Goal(5.0, 3.0), walls=gap(2.0, robot.body.width + MARGIN))[0] is None


def test_a_closed_room_has_no_way_in(way):
    room = (((4.0, 2.0), (4.0, 4.0)), ((4.0, 2.0), (6.0, 2.0)))
    assert way(START, Goal(5.0, 3.0), walls=room)[0] is None


def test_a_ring_of_things_has_no_way_in(way):
    ring = [
        Thing(3 + 0.8 * math.cos(angle), 2 + 0.8 * math.sin(angle), 0.1, 0.05)
        for angle in map(math.radians, range(0, 360, 30))
    ]
    assert way(START, Goal(3.0, 2.0), things=ring)[0] is None


def test_of_several_goals_the_cheapest_is_taken(way):
    legs, _ = way(START, Goal(1.5, 2.0, cost=3.0), Goal(3.0, 2.0))
    assert (legs[-1].x, legs[-1].y) == (3.0, 2.0)


def test_a_goal_with_a_heading_is_one_where_that_can_be_turned_to(way):
    """Between two walls there is no room for the corners of a turn: it is driven in along them."""
    legs, clearance = way(START, Goal(5.7, 2.5, 0.0), walls=NICHE)
    last = list(driven(START, legs))[-1]
    assert abs(wrap(last.heading)) < 0.1
    assert clearance.can_turn(last, wrap(-last.heading))


def test_a_goal_that_cannot_be_turned_to_is_none(way):
    assert way(START, Goal(5.7, 2.5, math.pi / 2), walls=NICHE)[0] is None


def bend(width):
    """Return the walls of a passage from the west that turns north at a right angle and ends there."""
    low, high = 2.0 - 0.5 * width, 2.0 + 0.5 * width
    return (
        *(((4.0, high), (5.0, high)), ((4.0, low), (5.0 + width, low))),
        *(((x, y), (x, 3.4)) for x, y in ((5.0, high), (5.0 + width, low))),
        ((5.0, 3.4), (5.0 + width, 3.4)),
    )


def test_a_bend_that_a_disc_goes_round_and_the_body_does_not_is_soon_known(robot, field):
    """It stands in a pocket; to search all of the bay from the other side took 40,000 nodes, and most of a minute."""
    space = FreeSpace(robot, replace(field, walls=bend(0.38)), 0.05)
    searching = WaySearch(
        Clearance(space, space.outlines[0], RoomDue(MARGIN), (), START), START, [Goal(5.19, 2.9)], robot.body.width
    )
    searching.work(5_000)
    assert searching.is_over
    assert searching.legs is None
    assert searching.is_cut_off((5.19, 3.1))
    assert not searching.is_cut_off((3.0, 2.0))


def test_what_lies_behind_the_same_walls_as_a_goal_that_no_way_leads_to_is_cut_off_too(robot, field):
    space = FreeSpace(robot, replace(field, walls=(((4.0, 0.0), (4.0, 4.0)),)), 0.05)
    clearance = Clearance(space, space.outlines[0], RoomDue(MARGIN), (), START)
    searching = WaySearch(clearance, START, [Goal(5.0, 2.0)], robot.body.width)
    while not searching.is_over:
        searching.work(100)
    assert searching.is_cut_off((4.6, 3.3))
    assert not searching.is_cut_off((3.5, 3.3))
    assert not searching.is_cut_off((4.05, 2.0))  # nothing is known of where no way ends


def test_of_a_way_that_was_found_nothing_is_cut_off(way, robot, field):
    space = FreeSpace(robot, replace(field, walls=gap(1.0, 0.6)), 0.05)
    clearance = Clearance(space, space.outlines[0], RoomDue(MARGIN), (), START)
    searching = WaySearch(clearance, START, [Goal(5.0, 2.0)], robot.body.width)
    while not searching.is_over:
        searching.work(100)
    assert searching.legs
    assert not searching.is_cut_off((4.6, 3.3))


def test_a_bend_that_is_wide_enough_is_gone_round(way):
    assert way(START, Goal(5.22, 2.9), walls=bend(0.44))[0] is not None


def test_ground_under_the_jaws_counts_as_that_under_the_body(robot, field):
    """At the end of known ground they stick out of it."""
    explored, space = Explored(robot), FreeSpace(robot, field, 0.05)
    explored.stand(START, 0)
    ahead, beside = Pose(START.x, START.y, 0.0), Pose(START.x, START.y, math.pi / 2)
    for pose in (ahead, beside):
        explored.stand(pose, 0)
    explored.stand(Pose(*START.beside(0.15, 0.0), 0.0), 0)
    clearance = Clearance(space, space.outlines[1], RoomDue(MARGIN), (), START, explored)
    assert clearance.unknown(ahead) == clearance.unknown_at(START[:2]) == 0.0
    assert clearance.unknown(beside) > 0.4


@pytest.mark.parametrize("middle", [1.5, 1.512, 1.525, 1.538, 1.7])
@pytest.mark.parametrize("goal", [Goal(5.0, 0.5), Goal(5.0, 3.5)])
def test_a_doorway_is_passed_where_it_leaves_most_room_wherever_that_is(way, robot, middle, goal):
    """What is due and no more is 5 cm of 7.5; the points of the lattice lie beside the middle by up to half a step."""
    half = 0.5 * robot.body.width + 0.075
    legs, clearance = way(START, goal, walls=(((3.0, 0.0), (3.0, middle - half)), ((3.0, middle + half), (3.0, 4.0))))
    most = clearance.at(Pose(3.0, middle, 0.0))
    assert most == pytest.approx(0.075 - MARGIN)
    assert min(clearance.at(pose) for pose in driven(START, legs)) > 0.5 * most


@pytest.mark.parametrize(("aside", "way_off", "is_worth_it"), [(0.5, 1.5, True), (1.7, 1.5, True), (1.7, 0.6, False)])
def test_who_hears_nothing_ahead_goes_where_it_has_been_unless_that_is_far_round(
    way, robot, aside, way_off, is_worth_it
):
    east = 0.5 + way_off
    explored, corners = Explored(robot), ((0.5, 2.0), (0.5, 2.0 + aside), (east, 2.0 + aside), (east, 2.0))
    for (ax, ay), (bx, by) in pairwise(corners):
        for share in range(101):
            x, y = ax + 0.01 * share * (bx - ax), ay + 0.01 * share * (by - ay)
            explored.stand(Pose(x, y, math.atan2(by - ay, bx - ax)), 0)
    legs, _ = way(START, Goal(east, 2.0), explored=explored)
    farthest = max(pose.y - START.y for pose in driven(START, legs))
    assert (farthest > 0.7 * aside) == is_worth_it


def test_who_hears_nothing_ahead_and_has_been_nowhere_goes_straight(way, robot):
    legs, _ = way(START, Goal(3.0, 2.0), explored=Explored(robot))
    assert len(legs) == 1


def test_a_robot_with_its_nose_at_a_wall_gets_away_from_it(way):
    start = Pose(5.77, 2.5, 0.0)
    legs, _ = way(start, Goal(1.0, 2.0), walls=NICHE)
    assert legs[0].back
    assert legs[0].x < 4.97, "between the walls there is no room to turn"


walls = st.lists(
    st.tuples(st.tuples(st.floats(1, 5), st.floats(0.5, 3.5)), st.tuples(st.floats(1, 5), st.floats(0.5, 3.5))),
    max_size=3,
)
things = st.lists(st.builds(Thing, st.floats(1.0, 5.0), st.floats(0.5, 3.5), st.just(0.05), st.just(0.05)), max_size=4)
poses = st.builds(Pose, st.floats(0.4, 5.6), st.floats(0.4, 3.6), st.floats(-math.pi, math.pi))


@settings(max_examples=25, deadline=None)
@given(start=poses, goal=poses, walls=walls, things=things)
def test_no_way_takes_more_room_than_is_left(way, start, goal, walls, things):
    """Between looks, 2 cm apart, a corner may come nearer by as much at most."""
    legs, clearance = way(start, Goal(goal.x, goal.y), walls=tuple(walls), things=things)
    if clearance.at(start) < 0.0:
        return
    for pose in driven(start, legs or []):
        assert clearance.at(pose) >= -0.02


@settings(max_examples=25, deadline=None)
@given(start=poses, goal=poses, width=st.floats(0.3, 0.7), things=things)
def test_the_search_from_the_goals_bars_no_way(way, start, goal, width, things):
    found, _ = way(start, Goal(goal.x, goal.y), walls=bend(width), things=things)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(planner, "MOST_FROM_GOALS", 0)
        assert way(start, Goal(goal.x, goal.y), walls=bend(width), things=things)[0] == found


@settings(max_examples=25, deadline=None)
@given(start=poses, goal=poses, things=things)
def test_the_same_search_finds_the_same_way(way, start, goal, things):
    first, _ = way(start, Goal(goal.x, goal.y), things=things)
    assert way(start, Goal(goal.x, goal.y), things=things)[0] == first


@pytest.mark.parametrize("goal", [Goal(5.0, 3.0), Goal(5.5, 0.4), Goal(3.6, 3.6), Goal(4.0, 1.0)])
@pytest.mark.parametrize("start", [START, Pose(2.0, 0.4, 1.0), Pose(2.6, 1.5, -1.6), Pose(1.0, 3.6, 2.0)])
def test_a_gap_beside_a_wall_is_not_turned_in(way, robot, start, goal):
    """Between a partition's end and the wall along y = 0 the corners of a turning body are nearest to both."""
    legs, _ = way(start, goal, walls=(((3.0, robot.body.width + 0.15), (3.0, 4.0)),))
    for at, leg in pairwise([start, *legs]):
        assert abs(leg.turn) < 0.1 or abs(at.x - 3.0) > 0.5 * robot.body.length
