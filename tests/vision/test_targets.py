"""What the camera sees, brought into the field, and remembered."""

import math
import random
import statistics

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.devices.readings import Detection
from rover.geometry import Pose
from rover.vision.clear_view import ClearView
from rover.vision.targets import (
    FRAMES_TO_KNOW,
    MISSES_TO_FORGET,
    SIGHTINGS_TO_KNOW,
    FieldOfView,
    TargetMemory,
    before_walls,
    sight,
)

EYE = FieldOfView(ahead=0.06, half_view=math.radians(30.0), reach=2.5, nearest=0.12)
START = Pose(1.0, 1.0, 0.0)
AWAY = Pose(1.0, 1.0, math.pi)


def detection(bearing, distance, kind="amber"):
    return Detection(kind, bearing, distance, 0.01, 0.03 * distance, 0.1)


def of_thing(pose, x, y, kind="amber"):
    """Return the detection of a thing that stands at (x, y) of the field."""
    eye_x, eye_y = EYE.place(pose)
    bearing = math.remainder(math.atan2(y - eye_y, x - eye_x) - pose.heading, math.tau)
    return detection(bearing, math.hypot(x - eye_x, y - eye_y), kind)


OPEN = ClearView((), ())


def look(memory, *things, pose=START, frames=1, clear=OPEN, sigma=None):
    """Show the memory some frames with things at (x, y) or (x, y, kind); ``sigma``: of their distances (m)."""
    seen = [of_thing(pose, *thing) for thing in things]
    seen = [one if sigma is None else one._replace(distance_sigma=sigma) for one in seen]
    for _ in range(frames):
        memory.update([sight(one, EYE, pose, 0.01) for one in seen], pose, clear)


@pytest.fixture
def memory():
    return TargetMemory(EYE)


class TestSight:
    def test_straight_ahead(self):
        seen = sight(detection(0.0, 1.0), EYE, START, 0.0)
        assert (seen.x, seen.y, seen.ahead, seen.left) == pytest.approx((2.06, 1.0, 1.06, 0.0))

    def test_left_is_left(self):
        seen = sight(detection(math.radians(30.0), 1.0), EYE, Pose(0.0, 0.0, math.pi / 2.0), 0.0)
        assert (seen.x, seen.y) == pytest.approx((-0.5, 0.06 + math.sqrt(0.75)))
        assert seen.left == pytest.approx(0.5)

    @given(
        x=st.floats(-3.0, 3.0),
        y=st.floats(-3.0, 3.0),
        heading=st.floats(-math.pi, math.pi),
        bearing=st.floats(-0.5, 0.5),
        distance=st.floats(0.1, 3.0),
    )
    def test_field_and_robot_frame_agree(self, x, y, heading, bearing, distance):
        seen = sight(detection(bearing, distance), EYE, Pose(x, y, heading), 0.0)
        assert math.hypot(seen.x - x, seen.y - y) == pytest.approx(math.hypot(seen.ahead, seen.left))

    @given(bearing=st.floats(-0.5, 0.5), heading=st.floats(-math.pi, math.pi), distance=st.floats(0.1, 3.0))
    def test_the_covariance_is_that_of_the_line_of_sight_turned_into_the_field(self, bearing, heading, distance):
        one = detection(bearing, distance)
        seen = sight(one, EYE, Pose(0.0, 0.0, heading), 0.02)
        u = (math.cos(heading + bearing), math.sin(heading + bearing))
        along = u[0] ** 2 * seen.xx + 2.0 * u[0] * u[1] * seen.xy + u[1] ** 2 * seen.yy
        across = u[1] ** 2 * seen.xx - 2.0 * u[0] * u[1] * seen.xy + u[0] ** 2 * seen.yy
        assert along == pytest.approx(one.distance_sigma**2 + 0.02**2)
        assert across == pytest.approx((distance * 0.01) ** 2 + 0.02**2)


class TestBeforeWalls:
    ACROSS = ((2.0, -1.0), (2.0, 3.0))

    def seen_at(self, x, y, sigma=0.1):
        return sight(of_thing(START, x, y)._replace(distance_sigma=sigma), EYE, START, 0.01)

    def placed(self, one, *walls):
        return before_walls(one, EYE.place(START), walls)

    def test_what_seems_to_stand_behind_a_wall_stands_before_it(self):
        one = self.placed(self.seen_at(2.1, 1.1), self.ACROSS)
        assert (one.x, one.y) == pytest.approx((1.97, 1.0875), abs=2e-3)
        assert START.beside(one.ahead, one.left) == pytest.approx((one.x, one.y))

    @pytest.mark.parametrize("place", [(1.9, 1.1), (2.5, 1.1)])
    def test_what_does_not_or_cannot_be_so_wrong_is_left(self, place):
        one = self.seen_at(*place)
        assert self.placed(one, self.ACROSS) == one

    def test_and_so_is_what_may_be_seen_past_the_end(self):
        one = self.seen_at(2.1, 1.1)
        assert self.placed(one, ((2.0, 1.0), (2.0, 3.0))) == one

    def test_of_two_walls_the_nearer_one_counts(self):
        one = self.placed(self.seen_at(2.1, 1.0), self.ACROSS, ((1.95, -1.0), (1.95, 3.0)))
        assert one.x == pytest.approx(1.92)


class TestMemory:
    def test_an_object_is_believed_in_after_some_frames(self, memory):
        known = []
        for _ in range(SIGHTINGS_TO_KNOW):
            look(memory, (2.0, 1.0))
            known.append(memory.objects[0].known)
        assert known == [False] * (SIGHTINGS_TO_KNOW - 1) + [True]

    def test_now_and_then_is_not_often_enough(self, memory):
        for _ in range(SIGHTINGS_TO_KNOW + 1):
            look(memory, (2.0, 1.0))
            look(memory, frames=FRAMES_TO_KNOW + 1, pose=AWAY)
        assert memory.objects == []

    def test_what_is_believed_in_is_kept_while_nobody_looks(self, memory):
        look(memory, (2.0, 1.0), frames=SIGHTINGS_TO_KNOW)
        look(memory, frames=10 * FRAMES_TO_KNOW, pose=AWAY)
        assert [one.known for one in memory.objects] == [True]

    def test_two_sightings_of_one_object_are_joined(self, memory):
        look(memory, (2.0, 1.0))
        look(memory, (2.05, 1.03))
        assert len(memory.objects) == 1
        assert 2.0 < memory.objects[0].x < 2.05

    def test_two_of_different_kinds_are_not(self, memory):
        look(memory, (2.0, 1.0, "amber"), (2.0, 1.02, "teal"))
        assert [one.kind for one in memory.objects] == ["amber", "teal"]

    def test_two_of_one_kind_that_stand_apart_are_not(self, memory):
        look(memory, (1.8, 1.0), (1.8, 1.35), frames=5)
        assert len(memory.objects) == 2

    def test_from_several_looks_the_place_is_known_better_but_never_surer_than_two_centimetres(self, memory):
        look(memory, (2.5, 1.0))
        first = memory.objects[0].xx
        look(memory, (2.5, 1.0), frames=30)
        assert memory.objects[0].xx < first
        assert memory.objects[0].xx >= 0.02**2

    def test_an_object_that_was_pushed_is_followed(self, memory):
        look(memory, (2.0, 1.0), frames=20)
        look(memory, (2.1, 1.0), frames=20)
        assert memory.objects[0].x == pytest.approx(2.1, abs=0.02)

    @given(st.lists(st.tuples(st.floats(1.3, 3.0), st.floats(0.6, 1.4)), min_size=1, max_size=20))
    def test_covariances_stay_covariances(self, places):
        memory = TargetMemory(EYE)
        for place in places:
            look(memory, place)
        for one in memory.objects:
            assert one.xx > 0.0
            assert one.xx * one.yy > one.xy**2


class TestTwoOfAKind:
    def test_two_abreast_stay_two_however_unsure_their_distances_are(self, memory):
        look(memory, (2.9, 0.8), (2.9, 1.2), frames=5, sigma=0.2)
        assert sorted(round(one.y, 1) for one in memory.objects) == [0.8, 1.2]

    def test_two_side_by_side_in_one_frame_are_two(self, memory):
        look(memory, (2.0, 0.97), (2.0, 1.03), frames=5)
        assert len(memory.objects) == 2

    def test_a_lid_in_two_pieces_is_one(self, memory):
        look(memory, (2.0, 0.99), (2.0, 1.01), frames=5)
        assert len(memory.objects) == 1


THING = (2.0, 1.0)
STANDING = [Pose(0.5, 0.75, math.atan2(0.25, 1.5))] * 19
ABREAST = [Pose(0.5, 0.75 + 0.5 * step / 18, math.atan2(0.25 - 0.5 * step / 18, 1.5)) for step in range(19)]
TOWARDS = [Pose(0.2 + step / 30, 1.0, 0.0) for step in range(31)]


def remembered(poses, seed):
    """Return the error of the first sighting (m), that of the memory (m), and its square in sigmas.

    A frame errs by its own pitch (0.5 deg) and bearing (0.25 deg); the tilt (0.3 deg), the lens's direction (0.15 deg)
    and the pose (2 cm) err alike in all of a run.
    """
    draws, memory = random.Random(seed), TargetMemory(EYE)
    tilt, askew = math.radians(draws.gauss(0.0, 0.3)), math.radians(draws.gauss(0.0, 0.15))
    off_x, off_y = draws.gauss(0.0, 0.02), draws.gauss(0.0, 0.02)
    first = None
    for pose in poses:
        true, drop = of_thing(pose, *THING), 0.16
        below = math.atan(drop / true.distance) + tilt + math.radians(draws.gauss(0.0, 0.5))
        distance = drop / math.tan(max(below, 0.03))
        sigma = math.radians(0.6) * (distance**2 + drop**2) / drop
        bearing = true.bearing + askew + math.radians(draws.gauss(0.0, 0.25))
        believed = Pose(pose.x + off_x, pose.y + off_y, pose.heading)
        seen = sight(Detection("amber", bearing, distance, math.radians(0.3), sigma, 0.1), EYE, believed, 0.02)
        first = first or math.dist((seen.x, seen.y), THING)
        memory.update([seen], believed, OPEN)
    one = max(memory.objects, key=lambda each: each.sightings)
    x, y = one.x - THING[0], one.y - THING[1]
    sigmas = (one.yy * x * x - 2.0 * one.xy * x * y + one.xx * y * y) / (one.xx * one.yy - one.xy**2)
    return first, math.hypot(x, y), sigmas


def rms(values):
    return math.sqrt(statistics.fmean(value * value for value in values))


class TestTriangulation:
    CHI_SQUARE_95 = 5.991  # of two degrees of freedom

    @pytest.mark.parametrize("poses", [ABREAST, TOWARDS], ids=["abreast", "towards"])
    def test_half_a_metre_of_driving_sharpens_the_distance_and_what_is_stated_holds(self, poses):
        first, last, sigmas = zip(*(remembered(poses, seed) for seed in range(200)), strict=True)
        assert rms(last) < 0.4 * rms(first)
        assert sum(one <= self.CHI_SQUARE_95 for one in sigmas) >= 0.95 * len(sigmas)

    def test_so_many_looks_from_one_place_do_less(self):
        standing, abreast = ([remembered(poses, seed)[1] for seed in range(200)] for poses in (STANDING, ABREAST))
        assert rms(abreast) < 0.7 * rms(standing)


class TestForgetting:
    def test_what_is_in_plain_view_and_not_seen_is_forgotten(self, memory):
        look(memory, (2.0, 1.0), frames=5)
        look(memory, frames=MISSES_TO_FORGET - 1)
        assert len(memory.objects) == 1
        look(memory)
        assert memory.objects == []

    def test_one_that_was_hardly_seen_is_forgotten_at_once(self, memory):
        look(memory, (2.0, 1.0))
        look(memory)
        assert memory.objects == []

    @pytest.mark.parametrize(
        "pose", [Pose(1.0, 1.0, math.pi), Pose(1.0, 1.0, 0.5), Pose(-3.0, 1.0, 0.0), Pose(1.9, 1.0, 0.0)]
    )
    def test_what_is_out_of_view_too_far_or_too_near_is_kept(self, memory, pose):
        look(memory, (2.0, 1.0), frames=5)
        look(memory, pose=pose, frames=100)
        assert len(memory.objects) == 1

    def test_while_turning_absence_means_nothing(self, memory):
        look(memory, (2.0, 1.0), frames=5)
        look(memory, frames=100, clear=None)
        assert len(memory.objects) == 1

    def test_what_a_wall_hides_is_kept(self, memory):
        look(memory, (2.0, 1.0), frames=5)
        look(memory, frames=100, clear=ClearView([((1.5, 0.9), (1.5, 1.4))], ()))
        assert len(memory.objects) == 1

    def test_seen_again_the_misses_count_from_the_start(self, memory):
        look(memory, (2.0, 1.0), frames=5)
        for _ in range(5):
            look(memory, frames=MISSES_TO_FORGET - 1)
            look(memory, (2.0, 1.0))
        assert len(memory.objects) == 1

    def test_missed_from_one_side_and_seen_again_it_is_missed_only_from_where_it_was_seen(self, memory):
        """Something that nobody knows of hides it from there."""
        jar, there = (2.0, 1.2), Pose(2.2, 2.4, -math.pi / 2)
        look(memory, jar, frames=SIGHTINGS_TO_KNOW)
        look(memory, pose=there, frames=MISSES_TO_FORGET)
        assert not memory.objects
        look(memory, jar, frames=SIGHTINGS_TO_KNOW)
        look(memory, pose=there, frames=2 * MISSES_TO_FORGET)
        assert len(memory.objects) == 1
        look(memory, frames=MISSES_TO_FORGET)
        assert not memory.objects

    def test_another_beside_one_that_was_taken_away_is_missed_from_anywhere(self, memory):
        look(memory, (2.0, 1.2), frames=SIGHTINGS_TO_KNOW)
        look(memory, frames=MISSES_TO_FORGET)
        look(memory, (2.0, 1.05), frames=SIGHTINGS_TO_KNOW)
        look(memory, pose=Pose(2.2, 2.4, -math.pi / 2), frames=MISSES_TO_FORGET)
        assert not memory.objects

    def test_with_the_target_forgotten_there_is_none(self, memory):
        look(memory, (2.0, 1.0), frames=5)
        memory.chosen = memory.objects[0]
        look(memory, frames=MISSES_TO_FORGET)
        assert memory.chosen is None
        assert memory.seen is None


class TestChosen:
    def test_what_is_seen_of_the_target_is_its_sighting_of_this_frame(self, memory):
        look(memory, (1.8, 1.0), frames=5)
        memory.chosen = memory.objects[0]
        look(memory, (1.8, 1.0), (2.5, 1.2, "teal"))
        assert memory.seen.detection.kind == "amber"
        look(memory, (2.5, 1.2, "teal"))
        assert memory.seen is None

    def test_the_others_are_to_be_driven_round(self, memory):
        look(memory, (1.8, 1.0), (2.5, 1.2, "teal"), frames=5)
        memory.chosen = memory.objects[0]
        assert [one.kind for one in memory.others()] == ["teal"]


def test_what_is_recalled_is_believed_in_unseen(memory):
    memory.recall("amber", 3.0, 1.0)
    [one] = memory.objects
    assert (one.kind, one.x, one.y, one.known) == ("amber", 3.0, 1.0, True)


@pytest.fixture
def better(memory):
    """One in the tray at (2, 1), seen from near."""
    other = TargetMemory(EYE)
    look(other, (2.0, 1.0), pose=Pose(1.5, 1.0, 0.0), frames=10, sigma=0.01)
    return other.objects[0]


def test_what_was_seen_vaguely_may_be_another_that_is_known_better(memory, better):
    look(memory, (2.3, 1.0), frames=3, sigma=0.3)
    assert memory.forget_vaguer(better)
    assert not memory.objects


@pytest.mark.parametrize(
    ("place", "sigma"), [((2.06, 1.0), 0.01), ((2.3, 1.4), 0.3), ((2.3, 1.0, "teal"), 0.3)], ids=str
)
def test_what_is_known_well_or_stands_elsewhere_or_is_another_kind_is_its_own(memory, better, place, sigma):
    look(memory, place, frames=3, sigma=sigma)
    assert not memory.forget_vaguer(better)
    assert memory.objects
