"""The whole outline stays inside the boundary and off known walls, and the robot is never trapped."""

import itertools
import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from rover.estimate.doubt import Doubt
from rover.estimate.field import Ground
from rover.files.errand import USUAL_WIDTH
from rover.geometry import Pose, distance_to_segment, inside
from rover.motion.keep_clear import CREEP, KeepClear, Velocity, Whereabouts
from rover.motion.limits import Limits, Situation
from rover.motion.outline import Surroundings, outline_of
from rover.motion.profile import ramped
from rover.motion.request import FEEL, Request

STEP = 0.02
WALL = ((3.0, 1.0), (3.0, 3.0))


@pytest.fixture(scope="session")
def walled(field):
    """The field with a wall in its middle."""
    return Ground(field.boundary, field.edges, (WALL,), None, 0.0, ())


def doubt(sigma):
    """Return the doubt of a place that is as unsure (m) in all directions."""
    return Doubt(sigma * sigma, 0.0, sigma * sigma)


def corners(robot, pose):
    """Return the corners of body and jaws in the field, and points along their sides, without the code under test."""
    half, wide, reach = 0.5 * robot.body.length, 0.5 * robot.body.width, robot.body.gripper_reach + 0.03
    places = [(x, y) for x in (-half, 0.0, half) for y in (-wide, 0.0, wide)] + [(reach, -0.055), (reach, 0.055)]
    c, s = math.cos(pose.heading), math.sin(pose.heading)
    return [(pose.x + x * c - y * s, pose.y + x * s + y * c) for x, y in places]


def is_legal(robot, ground, pose):
    """Tell whether no corner is outside, and none on the far side of the wall from the middle."""
    places = corners(robot, pose)
    if not all(inside(place, ground.boundary) for place in places):
        return False
    return not any(meets_wall((pose.x, pose.y), place) for place in places)


def meets_wall(middle, place):
    """Tell whether the line from the middle to a corner crosses the wall; past its end a corner may be beyond it."""
    (x, low), (_, high) = WALL
    if (middle[0] - x) * (place[0] - x) > 0.0 or middle[0] == place[0]:
        return False
    share = (x - middle[0]) / (place[0] - middle[0])
    return low <= middle[1] + share * (place[1] - middle[1]) <= high


def moved(pose, pace):
    middle = pose.heading + 0.5 * pace.turn_rate * STEP
    way = pace.speed * STEP
    return Pose(pose.x + way * math.cos(middle), pose.y + way * math.sin(middle), pose.heading + pace.turn_rate * STEP)


@pytest.mark.parametrize(("sigma", "is_slow"), [(0.02, False), (0.16, True)])
def test_along_a_wall_that_it_may_touch_it_goes_no_faster_than_it_may_touch_it(cart, walled, sigma, is_slow):
    """Its side is 20 cm from the wall by what is believed, and may be at it."""
    robot = cart()
    pose = Pose(3.0 + 0.5 * robot.body.width + 0.2, 2.0, math.pi / 2)
    limits, now, allowed = Limits(robot, walled, USUAL_WIDTH), 0, None
    for _ in range(75):
        now += round(STEP * 1e9)
        allowed = limits.apply(Request(0.35), Situation(now, STEP, Whereabouts(pose, doubt(sigma))))
    assert allowed.speed == pytest.approx(robot.limits.contact_speed if is_slow else 0.35)


poses = st.builds(Pose, st.floats(0.0, 6.0), st.floats(0.0, 4.0), st.floats(-math.pi, math.pi))
requests = st.builds(Request, st.floats(-0.5, 0.5), st.floats(-2.0, 2.0))


@given(start=poses, wanted=st.lists(requests, min_size=1, max_size=4))
def test_from_where_it_may_stand_no_request_brings_a_corner_across(cart, walled, start, wanted):
    """Whatever is asked for, forwards, backwards or turning, and the ramps count: it can always stop in time."""
    robot = cart()
    assume(is_legal(robot, walled, start))
    assume(Surroundings(walled).room(outline_of(robot, 0.05, loaded=False), start, _all(walled))[0] > 0.0)
    limits, pose, now = Limits(robot, walled, USUAL_WIDTH), start, 0
    for request in [one for one in wanted for _ in range(75)]:
        now += round(STEP * 1e9)
        allowed = limits.apply(request, Situation(now, STEP, Whereabouts(pose)))
        pose = moved(pose, Velocity(*allowed[:2]))
        assert is_legal(robot, walled, pose), (start, pose, limits.causes)


def _all(ground):
    return Surroundings(ground).near((3.0, 2.0), 100.0)[0]


@given(pose=st.builds(Pose, st.floats(-0.5, 6.5), st.floats(-0.5, 4.5), st.floats(-math.pi, math.pi)))
def test_what_leads_away_stays_allowed_from_anywhere(cart, walled, pose):
    """Also from across the line: a way, or a turn, at whose every place there is more room than here."""
    robot = cart()
    surroundings, outline = Surroundings(walled), outline_of(robot, 0.05, loaded=False)
    here = surroundings.room(outline, pose, _all(walled))[0]
    for wanted in (Velocity(0.1, 0.0), Velocity(-0.1, 0.0), Velocity(0.0, 0.4), Velocity(0.0, -0.4)):
        later, room = pose, [here]
        for _ in range(20):
            later = moved(later, wanted)
            room.append(surroundings.room(outline, later, _all(walled))[0])
        if all(b > a for a, b in itertools.pairwise(room)):
            keep_clear = KeepClear(robot, walled, 0.05)
            allowed, found = keep_clear.allow(wanted, Velocity(0.0, 0.0), Whereabouts(pose), STEP)
            assert found == []
            assert allowed == wanted


@pytest.mark.parametrize(
    ("pose", "wanted", "cause"),
    [
        (Pose(5.81, 2.0, 0.7), Velocity(0.3, 0.0), "boundary"),
        (Pose(5.81, 2.0, 2.5), Velocity(-0.3, 0.0), "boundary"),
        (Pose(5.86, 2.0, math.pi / 2), Velocity(0.0, 1.0), "boundary"),
        (Pose(2.8, 2.0, 0.0), Velocity(0.3, 0.0), "wall"),
        (Pose(3.13, 2.0, 0.0), Velocity(-0.3, 0.0), "wall"),
        (Pose(2.86, 2.0, math.pi / 2), Velocity(0.0, 1.0), "wall"),
        (Pose(2.9, 3.3, -math.pi / 2), Velocity(0.3, 0.0), "wall"),
    ],
    ids=["a front corner", "a rear corner", "a turn", "a wall ahead", "a wall behind", "a turn beside", "a wall's end"],
)
def test_it_is_not_only_the_middle_of_an_end_that_counts(cart, walled, pose, wanted, cause):
    keep_clear, now = KeepClear(cart(), walled, 0.05), Velocity(0.0, 0.0)
    assert is_legal(cart(), walled, pose)
    for _ in range(100):
        allowed, found = keep_clear.allow(wanted, now, Whereabouts(pose), STEP)
        now = Velocity(
            ramped(now.speed, allowed.speed, 0.6 * STEP, STEP),
            ramped(now.turn_rate, allowed.turn_rate, 4.0 * STEP, 4.0 * STEP),
        )
        pose = moved(pose, now)
        if found and now == (0.0, 0.0):
            break
    assert [each[0] for each in found] == [cause]
    assert is_legal(cart(), walled, pose)


def test_beside_a_wall_it_may_drive_along(cart, walled):
    pose = Pose(2.8, 1.5, math.pi / 2)
    for wanted in (Velocity(0.3, 0.0), Velocity(-0.3, 0.0)):
        assert KeepClear(cart(), walled, 0.05).allow(wanted, Velocity(0.0, 0.0), Whereabouts(pose), STEP) == (
            wanted,
            [],
        )


def test_after_a_turn_on_the_spot_the_way_is_looked_at_anew(cart, field):
    """No verdict of before the turn is left: it held back what led inwards, and counted towards the latch."""
    limits, now = Limits(cart(), field, USUAL_WIDTH), 0

    def step(request, heading):
        nonlocal now
        now += round(STEP * 1e9)
        return limits.apply(request, Situation(now, STEP, Whereabouts(Pose(5.8, 2.0, heading))))

    for _ in range(50):
        step(Request(0.4), 0.0)
    assert limits.causes == ("boundary",)
    for index in range(50):
        step(Request(0.0, 1.0), math.pi * index / 50)
    assert step(Request(0.4), math.pi).speed > 0.0
    assert limits.causes == ()


def test_the_less_sure_the_place_the_more_room_is_left(cart, field):
    left = []
    for sigma in (0.0, 0.02, 0.2):
        keep_clear, pose, now = KeepClear(cart(), field, 0.05), Pose(5.0, 2.0, 0.0), Velocity(0.0, 0.0)
        for _ in range(500):
            wanted, _ = keep_clear.allow(Velocity(0.4, 0.0), now, Whereabouts(pose, doubt(sigma)), STEP)
            now = Velocity(ramped(now.speed, wanted.speed, 0.6 * STEP, STEP), 0.0)
            pose = moved(pose, now)
        left.append(6.0 - pose.x - 0.19)
    assert 0.0 < left[0] < 0.02
    assert left[0] + 0.02 < left[1] < left[0] + 0.08
    assert left[2] > 0.35


def test_doubt_along_a_wall_needs_no_room_before_it(cart, field):
    """A place that is sure across the wall beside it, and unsure along it."""
    keep_clear, beside = KeepClear(cart(), field, 0.05), Whereabouts(Pose(3.0, 3.85, 0.0), Doubt(0.04, 0.0, 1e-6))
    assert keep_clear.allow(Velocity(0.3, 0.0), Velocity(0.0, 0.0), beside, STEP) == ((0.3, 0.0), [])
    unsure_across = beside._replace(doubt=Doubt(1e-6, 0.0, 0.04))
    held = KeepClear(cart(), field, 0.05).allow(Velocity(0.3, 0.3), Velocity(0.0, 0.0), unsure_across, STEP)
    assert held[0].speed < 0.3


def test_doubt_across_the_wall_beside_takes_nothing_from_the_room_ahead(cart, field):
    """Along a wall that it has not ranged to, it stops as far before the next one as without it."""
    robot, left = cart(boundary_margin="3 cm"), []
    for y in (2.0, 4.0 - 0.06 - 0.13):
        keep_clear, pose, now = KeepClear(robot, field, 0.05), Pose(5.0, y, 0.0), Velocity(0.0, 0.0)
        for _ in range(400):
            where = Whereabouts(pose, Doubt(0.02**2, 0.0, 0.1**2))
            wanted, _ = keep_clear.allow(Velocity(0.3, 0.0), now, where, STEP)
            now = Velocity(ramped(now.speed, wanted.speed, 0.6 * STEP, STEP), 0.0)
            pose = moved(pose, now)
        left.append(6.0 - pose.x - 0.19)
    assert left[0] > 0.07
    assert left[1] == pytest.approx(left[0], abs=0.01)


def test_a_turn_on_the_spot_leaves_room_for_doubt_too(cart, field):
    """Beside a wall that the corners come near to: sure of its place it turns, unsure it does not, but steers on."""
    beside, still = Whereabouts(Pose(3.0, 3.82, 0.3)), Velocity(0.0, 0.0)
    unsure = beside._replace(doubt=doubt(0.04))
    assert KeepClear(cart(), field, 0.05).allow(Velocity(0.0, 0.5), still, beside, STEP) == ((0.0, 0.5), [])
    held, causes = KeepClear(cart(), field, 0.05).allow(Velocity(0.0, 0.5), still, unsure, STEP)
    assert (held.turn_rate, [cause for cause, _ in causes]) == (0.0, ["boundary"])
    steers = KeepClear(cart(), field, 0.05).allow(Velocity(0.05, 0.2), still, unsure, STEP)
    assert steers[0].turn_rate == 0.2


def test_only_who_feels_for_a_wall_keeps_no_room_for_doubt(cart, field):
    where = Whereabouts(Pose(5.76, 2.0, 0.0), doubt(0.1))
    for feels, speed in ((False, 0.0), (True, FEEL)):
        limits = Limits(cart(), field, 0.05)
        for step in range(100):
            allowed = limits.apply(
                Request(0.3 if feels else 0.05, feels=feels), Situation(step * 20_000_000, STEP, where)
            )
        assert allowed.speed == pytest.approx(speed)


def test_at_a_creep_less_room_is_due(cart, field):
    pose, sure = Pose(5.75, 2.0, 0.0), 0.02
    fast, creeping = (
        KeepClear(cart(), field, 0.05).allow(
            Velocity(speed, 0.0), Velocity(0.0, 0.0), Whereabouts(pose, doubt(sure)), STEP
        )
        for speed in (1.01 * CREEP, CREEP)
    )
    assert fast[0] == (0.0, 0.0)
    assert creeping == ((CREEP, 0.0), [])


def test_what_is_held_counts(cart, field):
    """A thing of 20 cm between the jaws reaches 7 cm farther than their tips."""
    robot, pose, wanted = cart(), Pose(5.76, 2.0, 0.0), Velocity(0.1, 0.0)
    empty, loaded = (
        KeepClear(robot, field, 0.2).allow(wanted, Velocity(0.0, 0.0), Whereabouts(pose, loaded=loaded), STEP)
        for loaded in (False, True)
    )
    assert empty == (wanted, [])
    assert loaded[0] == (0.0, 0.0)


@given(pose=poses)
def test_room_is_never_more_than_there_is(cart, walled, pose):
    """Held against the distances of points along the outline."""
    robot = cart()
    room, _ = Surroundings(walled).room(outline_of(robot, 0.05, loaded=False), pose, _all(walled))
    lines = (*walled.edges, *walled.walls)
    assert room <= min(distance_to_segment(place, *line) for place in corners(robot, pose) for line in lines) + 1e-9
