"""What is known to be free: where the body was, and what lies before an echo."""

import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.files.load import load
from rover.geometry import Pose
from rover.motion.echo import swept_radius
from rover.motion.explored import BEFORE, CELL, FARTHEST, PROVED, WAS_KNOWN, Explored, Lane, cell_at
from rover.motion.outline import BodyPart
from rover.motion.request import Request

from .limits_at_work import AHEAD, MIDDLE, Driving

ROOT = Path(__file__).parents[2]
HERE = Pose(0.3, -0.2, 0.5)
GENTLY = 0.9 * 0.15
"""Nine tenths of the contact speed (m/s)."""


@pytest.fixture(scope="module")
def robot():
    return load(ROOT / "config" / "cart.yaml", "robot").model


@pytest.fixture
def explored(robot):
    return Explored(robot)


def hear(explored, distances, pose=HERE, taken_ns=0):
    for distance in distances:
        explored.hear("range", distance, taken_ns, lambda _: pose)


def test_nothing_is_known_at_first(explored):
    assert not explored.holds((0.0, 0.0))
    assert explored.way_ahead(HERE, Lane(0.2, 0.13), 1.0) == 0.0


@given(ahead=st.floats(-0.119, 0.119), left=st.floats(-0.129, 0.129), heading=st.floats(-4.0, 4.0))
def test_where_the_body_stands_is_free_whichever_way_it_is_turned(robot, ahead, left, heading):
    explored, pose = Explored(robot), Pose(1.234, -5.678, heading)
    explored.stand(pose, 0)
    assert explored.holds(pose.beside(ahead, left))
    assert not explored.holds(pose.beside(0.4, 0.0))


def test_of_the_ground_under_a_body_nothing_is_unknown_and_beside_it_half(robot, explored):
    explored.stand(HERE, 0)
    assert explored.unknown(HERE.x, HERE.y) == 0.0
    assert 0.3 < explored.unknown(*HERE.beside(0.0, 0.5 * robot.body.width + 0.5 * CELL)) < 0.8
    assert explored.unknown(*HERE.beside(1.0, 0.0)) == 1.0


@given(way=st.floats(0.4, 0.9), aside=st.floats(-1.0, 1.0), heading=st.floats(-4.0, 4.0))
def test_before_an_echo_the_cone_is_free_and_beyond_it_nothing(robot, way, aside, heading):
    explored, pose = Explored(robot), Pose(0.1, 0.2, heading)
    hear(explored, [1.0] * 3, pose)
    half = robot.devices.range.beam / 2.0
    within = aside * (math.tan(half) * way - CELL)
    assert explored.holds(pose.beside(robot.devices.range.mount.ahead + way, within))
    assert not explored.holds(pose.beside(robot.devices.range.mount.ahead + 1.0 + 0.06, within))


@pytest.mark.parametrize("distances", [[2.0, 0.4, None], [0.4, 3.0, 3.0]])
def test_of_some_echoes_the_nearest_counts(explored, robot, distances):
    hear(explored, distances)
    ahead = robot.devices.range.mount.ahead
    assert explored.holds(HERE.beside(ahead + 0.4 - BEFORE - 0.1, 0.0))
    assert not explored.holds(HERE.beside(ahead + 0.5, 0.0))


@pytest.mark.parametrize("distances", [[3.0] * 3, [None] * 3])
def test_silence_and_echoes_from_far_off_show_free_ground_but_not_without_end(explored, robot, distances):
    hear(explored, distances)
    ahead = robot.devices.range.mount.ahead
    assert explored.holds(HERE.beside(ahead + FARTHEST - 0.1, 0.0))
    assert not explored.holds(HERE.beside(ahead + FARTHEST + 0.1, 0.0))


def test_of_when_ground_was_free_the_last_time_counts_and_silence_for_nothing(explored, robot):
    cell = cell_at(*HERE.beside(robot.devices.range.mount.ahead + 0.3, 0.0))
    assert explored.free_at_ns(cell) is None
    for distance, taken_ns, free_at_ns in [(None, 5, 0), (1.0, 6, 6), (None, 7, 6), (1.0, 8, 8)]:
        hear(explored, [distance] * 3, taken_ns=taken_ns)
        assert explored.free_at_ns(cell) == free_at_ns


def test_the_lane_is_free_as_far_as_all_of_its_width_is(explored):
    for way in range(30):
        explored.stand(Pose(*HERE.beside(0.02 * way, 0.0), HERE.heading), 0)
    assert explored.way_ahead(HERE, Lane(0.12, 0.1), 0.3) == math.inf
    assert explored.way_ahead(HERE, Lane(0.12, 0.1), 2.0) == pytest.approx(0.58, abs=0.07)
    assert explored.way_ahead(HERE, Lane(0.12, 0.3), 0.3) == 0.0


def test_where_nothing_was_heard_the_lane_is_free_and_not_proved_to_be(explored):
    hear(explored, [None] * 3)
    ahead = Lane(0.2, 0.0)
    assert explored.way_ahead(HERE, ahead, 0.5) == math.inf
    assert explored.way_ahead(HERE, ahead, 0.5, PROVED) == 0.0
    assert explored.unknown(*HERE.beside(0.6, 0.0)) == 1.0
    hear(explored, [1.1] * 3)
    assert explored.way_ahead(HERE, ahead, 0.5, PROVED) == math.inf


def test_a_whole_turn_on_the_spot_makes_the_ground_round_it_known(explored):
    assert not explored.is_round(HERE, 0.12)
    for degrees in range(0, 360, 5):
        explored.stand(Pose(HERE.x, HERE.y, math.radians(degrees)), 0)
    assert explored.is_round(HERE, 0.12)
    assert not explored.is_round(HERE, 0.3)


def test_a_fix_that_moves_the_position_far_begins_anew(explored):
    explored.stand(HERE, 0)
    explored.moved(HERE, Pose(HERE.x + 0.01, HERE.y, HERE.heading))
    assert explored.holds((HERE.x, HERE.y))
    explored.moved(HERE, Pose(HERE.x + 0.1, HERE.y, HERE.heading))
    assert not explored.holds((HERE.x, HERE.y))
    explored.stand(HERE, 0)
    assert explored.holds((HERE.x, HERE.y))


def test_what_was_known_before_such_a_fix_is_half_unknown_and_what_was_only_silent_all(explored):
    explored.stand(HERE, 0)
    hear(explored, [None] * 3)
    explored.moved(HERE, Pose(HERE.x + 0.1, HERE.y, HERE.heading))
    assert explored.unknown(HERE.x, HERE.y) == WAS_KNOWN
    assert explored.unknown(*HERE.beside(0.6, 0.0)) == 1.0
    explored.stand(HERE, 1)
    assert explored.unknown(HERE.x, HERE.y) == 0.0


def test_under_the_jaws_of_a_body_that_stands_on_known_ground_nothing_may_be_known(explored, robot):
    explored.stand(HERE, 0)
    jaws, body = BodyPart(0.0, 0.22, 0.05), BodyPart(-0.12, 0.12, 0.1)
    assert explored.unknown_under(HERE, jaws) > 0.4
    assert explored.unknown_under(HERE, body) == 0.0
    explored.stand(Pose(*HERE.beside(0.12, 0.0), HERE.heading), 1)
    assert explored.unknown_under(HERE, jaws) == 0.0


class TestWhereNobodyHasLooked:
    """What may stand there is touched gently: the bar is the contact speed, of corners too, and wheels overshoot."""

    @pytest.fixture
    def at_work(self, cart, field):
        robot = cart()
        explored = Explored(robot)
        return Driving(robot, field, explored), explored

    def test_ahead(self, at_work):
        driving, explored = at_work
        assert driving.steps(AHEAD, 3.0)[-1].speed == pytest.approx(GENTLY)
        for _ in range(3):
            explored.hear("range", None, 0, lambda _: Pose(MIDDLE.x - 0.6, MIDDLE.y, MIDDLE.heading))
        assert driving.steps(AHEAD, 3.0)[-1].speed == pytest.approx(0.4)

    def test_with_a_load_too_also_where_only_nothing_was_heard(self, at_work):
        driving, explored = at_work
        driving.loaded = True
        assert driving.steps(AHEAD, 3.0)[-1].speed == pytest.approx(GENTLY)
        for distance, fastest in ((None, GENTLY), (1.15, 0.4)):
            for _ in range(3):
                explored.hear("range", distance, 0, lambda _: Pose(MIDDLE.x - 0.6, MIDDLE.y, MIDDLE.heading))
            assert driving.steps(AHEAD, 3.0)[-1].speed == pytest.approx(fastest)

    def test_turning_on_the_spot(self, at_work, cart):
        driving, explored = at_work
        radius = swept_radius(cart())
        assert driving.steps(Request(0.0, 2.0), 3.0)[-1].turn_rate == pytest.approx(GENTLY / radius)
        for degrees in range(0, 360, 4):
            explored.stand(Pose(MIDDLE.x + 0.1, MIDDLE.y, math.radians(degrees)), 0)
            explored.stand(Pose(MIDDLE.x - 0.1, MIDDLE.y, math.radians(degrees)), 0)
            explored.stand(Pose(MIDDLE.x, MIDDLE.y + 0.1, math.radians(degrees)), 0)
            explored.stand(Pose(MIDDLE.x, MIDDLE.y - 0.1, math.radians(degrees)), 0)
        assert driving.steps(Request(0.0, 2.0), 3.0)[-1].turn_rate == pytest.approx(math.radians(90.0))
