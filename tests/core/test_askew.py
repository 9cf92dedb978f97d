"""A camera that was knocked aside is known by what it sees from several places; a healthy one is not."""

import math
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rover.core.askew import Askew
from rover.core.cross_checks import CrossChecks
from rover.devices.readings import MARKER, Detection
from rover.geometry import Pose
from tests.core.rig import ROBOT

AHEAD = 0.1
FRAME_S = 0.1
PERIOD_NS = 100_000_000


def seen(pose: Pose, thing: tuple[float, float], kind: str, aside: float, random: Random | None) -> Detection:
    """Return what a camera that looks so much (rad) to the left sees of a thing (m), with the usual noise."""
    dx = thing[0] - pose.x - AHEAD * math.cos(pose.heading)
    dy = thing[1] - pose.y - AHEAD * math.sin(pose.heading)
    distance, bearing = math.hypot(dx, dy), math.atan2(dy, dx) - pose.heading - aside
    if random is not None:
        distance *= random.gauss(1.0, 0.05)
        bearing += random.gauss(0.0, math.radians(1.0))
    return Detection(kind, bearing, distance, 0.01, 0.05, 0.1)


def said_of(things, aside=0.0, random=None, turn_rate=0.0, way=1.0, askew=None, heading_off=0.0, scale=1.0):
    """Drive a way (m) from the origin at 0.2 m/s, and return what is said of the camera meanwhile."""
    askew, pose = Askew(AHEAD) if askew is None else askew, Pose(0.0, 0.0, 0.0)
    for frame in range(1, round(way / (0.2 * FRAME_S))):
        heading = pose.heading + turn_rate * FRAME_S
        middle, step = 0.5 * (pose.heading + heading), 0.2 * FRAME_S
        pose = Pose(pose.x + step * math.cos(middle), pose.y + step * math.sin(middle), heading)
        askew.move(step * scale)
        objects = [seen(pose, place, kind, aside, random) for kind, place in things]
        if said := askew.see(objects, pose.heading + heading_off, frame * PERIOD_NS):
            return said
    return ""


@pytest.mark.parametrize("aside", [10.0, -10.0, 20.0])
@pytest.mark.parametrize("place", [(1.6, 0.0), (1.5, 0.4), (1.5, -0.6)], ids=["ahead", "to the left", "to the right"])
def test_a_camera_that_was_knocked_is_known_within_one_approach(aside, place):
    said = said_of([("teal", place)], math.radians(aside), Random(7))
    assert "to the left" in said if aside > 0 else "to the right" in said


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**6), st.floats(-0.8, 0.8), st.floats(-0.2, 0.2))
def test_a_healthy_one_is_not(seed, left, turn_rate):
    assert not said_of([("teal", (1.8, left))], random=Random(seed), turn_rate=turn_rate)


@pytest.mark.parametrize("aside", [0.0, 2.0, -3.0])
def test_nor_is_one_that_is_mounted_roughly(aside):
    askew = Askew(AHEAD)
    for seed in range(20):
        assert not said_of([("teal", (1.6, 0.2))], math.radians(aside), Random(seed), askew=askew)


def test_many_things_tell_what_one_alone_does_not():
    thing, aside, askew = [("teal", (1.6, 0.2))], math.radians(8.0), Askew(AHEAD)
    assert not any(said_of(thing, aside, Random(seed)) for seed in range(12))
    assert any(said_of(thing, aside, Random(seed), askew=askew) for seed in range(12))


@pytest.mark.parametrize(
    "odd", [{"heading_off": math.radians(25.0)}, {"scale": 0.7}], ids=["a heading that is off", "wheels that slip"]
)
def test_what_is_wrong_elsewhere_is_not_laid_to_the_camera(odd):
    assert not said_of([("teal", (1.6, 0.3))], random=Random(3), **odd)


def test_two_of_a_kind_that_take_turns_tell_nothing():
    askew = Askew(AHEAD)
    for frame in range(60):
        askew.move(0.02)
        place = ((1.8, 0.3), (1.8, -0.3))[frame % 2]
        thing = seen(Pose(0.02 * frame, 0.0, 0.0), place, "teal", 0.0, None)
        assert not askew.see([thing], 0.0, frame * PERIOD_NS)


def test_two_of_a_kind_in_one_frame_tell_nothing():
    assert not said_of([("teal", (1.6, 0.2)), ("teal", (1.7, -0.2))], math.radians(20.0))


@pytest.mark.parametrize("turn", [0.0, 0.5])
def test_one_look_from_afar_tells_nothing_of_many_from_near(turn):
    """It was off by 4 deg, as one look may be; a way that nobody saw anything on, or a turn, lies between."""
    askew = Askew(AHEAD)
    for frame in range(60):
        heading = 0.0 if frame else turn
        pose = Pose(0.4 + 0.01 * frame if frame else 0.0, 0.0, heading)
        askew.move(0.4 if frame == 1 else 0.01)
        thing = seen(pose, (1.4, 0.2), "teal", math.radians(0.0 if frame else 4.0), None)
        assert not askew.see([thing], heading, frame * PERIOD_NS)


@pytest.mark.parametrize("seed", range(20))
def test_wheels_that_spin_where_something_holds_the_robot_tell_nothing(seed):
    askew, random = Askew(AHEAD), Random(seed)
    for frame in range(100):
        askew.move(0.02)
        thing = seen(Pose(0.0, 0.0, 0.0), (1.9, 0.1), "teal", 0.0, random)
        assert not askew.see([thing], 0.0, frame * PERIOD_NS)


def test_a_robot_that_stands_tells_nothing():
    askew, random = Askew(AHEAD), Random(1)
    for frame in range(200):
        thing = seen(Pose(0.0, 0.0, 0.0), (1.2, 0.1), "teal", math.radians(20.0), random)
        assert not askew.see([thing], 0.0, frame * PERIOD_NS)


def test_frames_that_come_late_in_a_fast_turn_tell_nothing():
    late_s, turn_rate = 0.3, 0.6
    assert not said_of([("teal", (0.9, 0.9))], late_s * turn_rate, Random(4), turn_rate, way=1.5)


def test_looking_often_from_one_place_tells_no_more():
    said = []
    for often in (1, 50):
        askew, random = Askew(AHEAD), Random(2)
        for frame in range(50):
            askew.move(0.02)
            thing = seen(Pose(0.02 * (frame + 1), 0.0, 0.0), (1.6, 0.2), "teal", math.radians(10.0), random)
            said.append([askew.see([thing], 0.0, frame * PERIOD_NS + look) for look in range(often)][-1])
    assert said[:50] == said[50:]


def test_a_place_that_was_fixed_by_the_marker_is_less_sure():
    checks = CrossChecks(ROBOT, 0.0)
    for frame in range(1, 60):
        checks.count(0.02, 0.02, FRAME_S)
        pose = Pose(0.02 * frame, 0.0, 0.0)
        things = [
            seen(pose, (1.6, 0.2), "teal", math.radians(10.0), None),
            seen(pose, (2.5, 0.0), MARKER, math.radians(10.0), None),
        ]
        checks.see(things, 0.0, frame * PERIOD_NS)
        if checks.found:
            break
    assert [one.device for one in checks.found] == ["camera"]
    marker_from = 2.5 - pose.x - AHEAD
    assert checks.count(0.0, 0.0, FRAME_S).way == pytest.approx(math.radians(10.0) * marker_from, rel=0.1)
    assert checks.count(0.0, 0.0, FRAME_S).way == 0.0
