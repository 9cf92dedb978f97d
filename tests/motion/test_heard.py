"""What stands where echoes come from: on an arc, less what is known to be free."""

import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.files.load import load
from rover.geometry import Pose
from rover.motion.explored import CELL, JUMP, Explored
from rover.motion.heard import DEPTHS, FARTHEST, FOR_NS, SAME, Arc, Heard

ROBOT = load(Path(__file__).parents[2] / "config" / "cart.yaml", "robot").model
HALF = 0.5 * ROBOT.devices.range.beam
ORIGIN = Pose(0.0, 0.0, 0.0)
POST, RADIUS = (0.6, 0.0), 0.05


class Listening:
    """A range finder at the robot's middle, on a floor with one post and nothing else as far as it hears."""

    def __init__(self):
        self.explored = Explored(ROBOT)
        self.heard = Heard(self.explored)
        self.now_ns = 0
        self.ahead = ROBOT.devices.range.mount.ahead

    def hear(self, distance, face=ORIGIN, times=3):
        for _ in range(times):
            self.now_ns += 66_000_000
            back = Pose(*face.beside(-self.ahead, 0.0), face.heading)
            self.explored.hear("range", distance, self.now_ns, lambda _, back=back: back)
            if distance is None:
                self.heard.hear_other("range")
            else:
                self.heard.hear(Arc("range", face, distance, HALF, self.now_ns))

    def look(self, face):
        """Hear the post where it is in the cone, else something far off."""
        dx, dy = POST[0] - face.x, POST[1] - face.y
        aside = abs(math.remainder(math.atan2(dy, dx) - face.heading, math.tau))
        away = math.hypot(dx, dy)
        self.hear(away - RADIUS if aside < HALF + math.asin(RADIUS / away) else 3.0, face)

    def standing(self, known=()):
        return self.heard.standing((0.0, 0.0), self.now_ns, known)


@pytest.fixture
def listening():
    return Listening()


def test_nothing_is_heard_at_first(listening):
    assert listening.standing() == []


@given(distance=st.floats(0.1, 0.7), heading=st.floats(-4.0, 4.0), x=st.floats(-0.5, 0.5))
def test_it_stands_on_the_arc_and_nowhere_else(distance, heading, x):
    listening, face = Listening(), Pose(x, 0.2, heading)
    listening.hear(distance, face)
    found = listening.heard.standing((x, 0.2), listening.now_ns, [])
    assert found
    for place in found:
        assert distance - CELL < math.dist(place, (x, 0.2)) < distance + DEPTHS[-1] + CELL
        bearing = math.atan2(place[1] - 0.2, place[0] - x)
        assert abs(math.remainder(bearing - heading, math.tau)) < HALF + CELL / distance


@pytest.mark.parametrize(
    "distances", [[0.5], [0.5, 0.5], [0.5, 0.9, 0.5], [0.5, None, 0.5, 0.5], [FARTHEST + 0.1] * 9, [1.0] * 9]
)
def test_stray_echoes_and_those_from_too_far_off_are_left_alone(listening, distances):
    for distance in distances:
        listening.hear(distance, times=1)
    assert listening.standing() == []


def test_turning_by_leaves_what_is_as_narrow_as_the_thing(listening):
    listening.hear(0.55)
    wide = max(abs(y) for _, y in listening.standing())
    for degrees in range(-60, 61, 4):
        listening.look(Pose(0.0, 0.0, math.radians(degrees)))
    found = listening.standing()
    assert found
    assert max(abs(y) for _, y in found) <= RADIUS + CELL < wide
    assert all(-RADIUS - CELL < x - POST[0] < DEPTHS[-1] - RADIUS + CELL for x, _ in found)


def test_where_the_ground_was_known_to_be_free_it_does_not_stand(listening):
    listening.hear(1.0, Pose(0.0, -0.25, 0.0))
    listening.hear(0.6)
    found = listening.standing()
    assert found
    assert not any(listening.explored.holds(place) for place in found)


@pytest.mark.parametrize("before", [1.1, None])
def test_what_has_come_meanwhile_stands_on_ground_that_was_free(listening, before):
    listening.hear(before)
    listening.hear(0.5)
    assert any(math.dist(place, (0.52, 0.0)) < CELL for place in listening.standing())


def test_what_has_gone_is_heard_to_be_gone(listening):
    listening.hear(0.5)
    listening.hear(1.1)
    assert all(abs(y) > CELL for _, y in listening.standing())  # but at the edges of the cone


@pytest.mark.parametrize(("degrees", "is_gone"), [(-20, True), (30, True), (70, False), (-100, False)])
def test_what_is_heard_beyond_it_from_quite_another_side_takes_nothing_away(listening, degrees, is_gone):
    """A wall across x, heard from its normal, mirrors the sound away that comes from aside."""
    listening.hear(0.6)
    across = Pose(0.66, 0.0, math.radians(degrees))
    listening.hear(1.1, Pose(*across.beside(-0.5, 0.0), across.heading))
    assert all(abs(y) > CELL for _, y in listening.standing()) == is_gone


def test_where_the_body_stands_nothing_does(listening):
    listening.hear(0.3)
    listening.now_ns += 1
    listening.explored.stand(Pose(0.32, 0.0, 0.0), listening.now_ns)
    assert listening.standing() == []


@pytest.mark.parametrize(
    ("known", "is_it"), [((0.52, 0.05), True), ((0.5, 0.3), False), ((0.5 + SAME + 0.01, 0.0), False)]
)
def test_an_object_that_is_known_of_explains_the_whole_arc(listening, known, is_it):
    listening.hear(0.5)
    assert (listening.standing([known]) == []) is is_it


def test_silence_tells_of_nothing_and_takes_nothing_back(listening):
    listening.hear(0.5)
    before = listening.standing()
    listening.hear(None, times=9)
    assert listening.standing() == before


def test_it_is_forgotten_in_time_and_when_the_position_jumps(listening):
    listening.hear(0.5)
    listening.heard.moved(ORIGIN, Pose(0.9 * JUMP, 0.0, 0.0))
    assert listening.standing()
    listening.now_ns += FOR_NS
    assert listening.standing() == []
    listening.hear(0.5)
    listening.heard.moved(ORIGIN, Pose(1.1 * JUMP, 0.0, 0.0))
    assert listening.standing() == []


def test_what_has_been_taken_away_is_forgotten_with_its_whole_arc(listening):
    listening.hear(0.5)
    listening.heard.forget((0.5, 0.3))
    assert listening.standing()
    listening.heard.forget((0.52, 0.05))
    assert listening.standing() == []


def test_a_range_finder_that_is_not_believed_has_heard_nothing(listening):
    listening.hear(0.5)
    listening.heard.doubt("other")
    assert listening.standing()
    listening.heard.doubt("range")
    assert listening.standing() == []


def test_echoes_from_before_a_pause_make_no_stray_one_right(listening):
    listening.hear(0.5, times=2)
    listening.now_ns += 60_000_000_000
    listening.hear(0.5, times=1)
    assert listening.standing() == []


def test_far_from_the_robot_it_bars_no_way_yet(listening):
    listening.hear(0.5)
    assert listening.heard.standing((-1.5, 0.0), listening.now_ns, []) == []
