"""A camera that was knocked aside is known by what it sees of some things from several places; a healthy one is not."""

import math
from collections.abc import Callable
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rover.core.askew import Askew
from rover.core.cross_checks import CrossChecks
from rover.devices.readings import Detection, HeadingValue
from rover.geometry import Pose
from tests.core.rig import ROBOT

AHEAD, REACH = 0.1, 0.25
FRAME_S = 0.1
PERIOD_NS = 100_000_000
JAR = (1.6, 0.2)


def seen(pose: Pose, thing: tuple[float, float], kind: str, aside: float, random: Random | None) -> Detection:
    """Return what a camera that looks so much (rad) to the left sees of a thing (m), with the usual noise."""
    dx = thing[0] - pose.x - AHEAD * math.cos(pose.heading)
    dy = thing[1] - pose.y - AHEAD * math.sin(pose.heading)
    distance, bearing = math.hypot(dx, dy), math.atan2(dy, dx) - pose.heading - aside
    if random is not None:
        distance *= random.gauss(1.0, 0.05)
        bearing += random.gauss(0.0, math.radians(0.7))
    return Detection(kind, bearing, distance, 0.01, 0.05, 0.1)


class Approaches:
    """A robot that drives up to one thing after the other at 0.2 m/s.

    Attributes:
        scale: how many times its true way the wheels count.
        bends: by how much (rad) the believed heading goes astray in a metre; ``off``, by how much it is from the first.
        moves: where a thing is (m) after so long (s), from where it was.
    """

    def __init__(self, random: Random | None = None) -> None:
        self.askew, self.random, self.frames = Askew(AHEAD, REACH), random, 0
        self.scale, self.bends, self.off = 1.0, 0.0, 0.0
        self.moves: Callable[[float], tuple[float, float]] = lambda seconds: (0.0, 0.0)

    def make(self, aside: float = 0.0, thing=JAR, kind: str = "teal", turn_rate: float = 0.0, way: float = 1.0):
        """Make one, with a camera that looks aside (deg) and a turn rate (rad/s); return what is said meanwhile."""
        pose, step = Pose(0.0, 0.0, 0.0), 0.2 * FRAME_S
        self.frames += 30
        for frame in range(1, round(way / step)):
            self.frames += 1
            heading = pose.heading + turn_rate * FRAME_S
            middle = 0.5 * (pose.heading + heading)
            pose = Pose(pose.x + step * math.cos(middle), pose.y + step * math.sin(middle), heading)
            dx, dy = self.moves(frame * FRAME_S)
            one = seen(pose, (thing[0] + dx, thing[1] + dy), kind, math.radians(aside), self.random)
            self.askew.move(step * self.scale)
            believed = pose.heading + self.off + self.bends * frame * step
            if said := self.askew.see([one], believed, self.frames * PERIOD_NS):
                return said
        return None


def how_many(approaches: Approaches, *given, most: int = 12, **more) -> int:
    """Return after how many approaches something is said, 0 if nothing is."""
    return next((number for number in range(1, most + 1) if approaches.make(*given, **more)), 0)


@pytest.mark.parametrize("aside", [10.0, -10.0, 20.0])
@pytest.mark.parametrize("place", [(1.6, 0.0), (1.5, 0.4), (1.5, -0.6)], ids=["ahead", "to the left", "to the right"])
def test_a_camera_that_was_knocked_is_known_by_a_few_things(aside, place):
    approaches = Approaches(Random(7))
    assert approaches.make(aside, place) is None
    why, turned = next(said for _ in range(3) if (said := approaches.make(aside, place)))
    assert ("to the left" if aside > 0 else "to the right") in why
    assert turned == pytest.approx(math.radians(abs(aside)), abs=math.radians(3.0))


@pytest.mark.parametrize("kinds", [["teal"], ["teal", "amber", "violet"], list("abcdefghijkl")])
def test_many_things_tell_what_two_do_not(kinds):
    approaches = Approaches(Random(5))
    said = [approaches.make(8.0, kind=kinds[number % len(kinds)]) for number in range(12)]
    assert not any(said[:2])
    assert any(said)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**6), st.floats(-0.8, 0.8), st.floats(-0.2, 0.2))
def test_a_healthy_one_is_not(seed, left, turn_rate):
    assert not how_many(Approaches(Random(seed)), 0.0, (1.8, left), turn_rate=turn_rate, most=4)


@pytest.mark.parametrize("aside", [0.0, 2.0, -3.0])
def test_nor_is_one_that_is_mounted_roughly(aside):
    assert not how_many(Approaches(Random(3)), aside, most=20)


@pytest.mark.parametrize(
    "odd",
    [{"off": math.radians(25.0)}, {"scale": 0.7}, {"bends": math.radians(3.0)}],
    ids=["a heading that is off", "wheels that slip", "a heading that goes astray"],
)
@pytest.mark.parametrize("seed", range(5))
def test_what_is_wrong_elsewhere_is_not_laid_to_the_camera(odd, seed):
    approaches = Approaches(Random(seed))
    vars(approaches).update(odd)
    assert not how_many(approaches)


@pytest.mark.parametrize("speed", [0.05, 0.1])
def test_nor_is_a_thing_that_somebody_moves_before_others_that_stand(speed):
    approaches = Approaches(Random(1))
    approaches.moves = lambda seconds: (0.0, speed * seconds)
    assert approaches.make() is None
    approaches.moves = lambda seconds: (0.0, 0.0)
    assert not how_many(approaches)


@pytest.mark.parametrize("apart", [0.1, 0.15, 0.18, 0.6])
def test_two_of_a_kind_one_after_the_other_are_two(apart):
    approaches = Approaches(Random(2))
    approaches.moves = lambda seconds: (0.0, apart if seconds > 2.0 else 0.0)
    assert not how_many(approaches)


def test_two_of_a_kind_in_one_frame_tell_nothing():
    askew, said = Askew(AHEAD, REACH), []
    for frame in range(200):
        pose = Pose(0.02 * (frame % 50), 0.0, 0.0)
        askew.move(0.02)
        two = [seen(pose, (1.6, left), "teal", math.radians(20.0), None) for left in (0.2, -0.2)]
        said.append(askew.see(two, 0.0, frame * PERIOD_NS))
    assert not any(said)


@pytest.mark.parametrize("turn", [0.0, 0.5])
def test_one_look_from_afar_tells_nothing_of_many_from_near(turn):
    """It was off by 4 deg, as one look may be; a way that nobody saw anything on, or a turn, lies between."""
    askew = Askew(AHEAD, REACH)
    for frame in range(240):
        first = frame % 60 == 0
        heading = turn if first else 0.0
        pose = Pose(0.0 if first else 0.4 + 0.01 * (frame % 60), 0.0, heading)
        askew.move(0.4 if frame % 60 == 1 else 0.01)
        thing = seen(pose, (1.4, 0.2), "teal", math.radians(4.0 if first else 0.0), None)
        assert not askew.see([thing], heading, (frame + 40 * (frame // 60)) * PERIOD_NS)


@pytest.mark.parametrize("seed", range(20))
def test_wheels_that_spin_where_something_holds_the_robot_tell_nothing(seed):
    askew, random = Askew(AHEAD, REACH), Random(seed)
    for frame in range(300):
        askew.move(0.02)
        thing = seen(Pose(0.0, 0.0, 0.0), (1.9, 0.1), "teal", 0.0, random)
        assert not askew.see([thing], 0.0, (frame + 20 * (frame // 100)) * PERIOD_NS)


def test_a_robot_that_stands_tells_nothing():
    askew, random = Askew(AHEAD, REACH), Random(1)
    for frame in range(200):
        thing = seen(Pose(0.0, 0.0, 0.0), (1.2, 0.1), "teal", math.radians(20.0), random)
        assert not askew.see([thing], 0.0, frame * PERIOD_NS)


def test_frames_that_come_late_in_a_fast_turn_tell_nothing():
    late_s, turn_rate = 0.3, 0.6
    aside = math.degrees(late_s * turn_rate)
    assert not how_many(Approaches(Random(4)), aside, (0.9, 0.9), turn_rate=turn_rate, way=1.5)


def test_looking_often_from_one_place_tells_no_more():
    said = []
    for often in (1, 50):
        askew, random = Askew(AHEAD, REACH), Random(2)
        for frame in range(400):
            askew.move(0.02)
            pose, way = Pose(0.02 * (frame % 50 + 1), 0.0, 0.0), frame + 20 * (frame // 50)
            thing = seen(pose, JAR, "teal", math.radians(10.0), random)
            said.append([askew.see([thing], 0.0, way * PERIOD_NS + look) for look in range(often)][-1])
    assert any(said)
    assert said[:400] == said[400:]


class TestHeldAgainstTheRest:
    def doubts(self, robot=ROBOT, *, headed: bool = True):
        """Approach two things with a camera that looks 10 deg aside; return the doubts."""
        checks, ns = CrossChecks(robot, 0.0), 0
        for frame in range(100):
            ns += PERIOD_NS * (30 if frame == 50 else 1)
            checks.count(0.02, 0.02, FRAME_S)
            if headed:
                checks.tell(HeadingValue(0.001 * (frame % 7), None), ns)
            pose = Pose(0.02 * (frame % 50), 0.0, 0.0)
            checks.see([seen(pose, JAR, "teal", math.radians(10.0), None)], 0.0, ns)
        return checks.found

    def test_the_camera_is_doubted_and_how_far_it_turned_what_it_told_is_known(self):
        (doubt,) = self.doubts()
        assert doubt.device == "camera"
        assert doubt.turned == pytest.approx(math.radians(10.0), abs=math.radians(1.0))

    def test_not_without_a_heading(self):
        assert not self.doubts(headed=False)

    def test_a_verdict_is_told_once(self):
        assert len(self.doubts()) == 1


def test_two_things_that_frames_show_together_are_no_two_witnesses():
    """Side by side and far off they err alike: a pitch that shakes the camera has both nearer, or farther."""
    said = []
    for seed in range(300):
        random, askew, step = Random(seed), Askew(AHEAD, REACH), 0.036
        things = {"amber": (1.0, -0.8), "teal": (1.2, -0.9)}
        for frame in range(1, 15):
            pose, pitch = Pose(frame * step, 0.0, 0.0), random.gauss(1.0, 0.06)
            askew.move(step)
            sights = [seen(pose, place, kind, 0.0, None) for kind, place in things.items()]
            sights = [one._replace(distance=one.distance * pitch) for one in sights]
            said.append(askew.see(sights, 0.0, frame * PERIOD_NS))
    assert not any(said)
