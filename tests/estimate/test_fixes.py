"""Position fixes: a range to a known wall, a sighting of the tray's marker."""

import math
from typing import ClassVar

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.devices.mount import Mount
from rover.devices.readings import MARKER, Detection
from rover.estimate.covariance import Errors
from rover.estimate.fixes import fix_by_marker, fix_by_wall, surer_by_wall, wall_in_view
from rover.estimate.pose import PoseFilter
from rover.geometry import Pose

NORTH = ((0.0, 4.0), (6.0, 4.0))
EAST = ((6.0, 0.0), (6.0, 4.0))
AHEAD, HALF_BEAM = Mount(ahead=0.10), math.radians(15.0)
ERRORS = Errors(start=(0.2, 0.2, 0.05), growth=3e-4, heading_noise=0.03, heading_bias=0.02)


def estimate(x, y, heading):
    return PoseFilter(Pose(x, y, heading), 0.36, ERRORS)


def spread(pose_filter):
    xx, _, _, yy, _, _ = pose_filter.covariance(0)
    return math.sqrt(xx), math.sqrt(yy)


class TestSurerByWall:
    """What ranging to a wall is worth, before the robot turns to it; it stands in the middle of four."""

    FACED: ClassVar = {"east": 0.0, "north": math.pi / 2, "west": math.pi, "south": -math.pi / 2}
    WALLS = (NORTH, EAST, ((0.0, 0.0), (6.0, 0.0)), ((0.0, 0.0), (0.0, 4.0)))

    def worths(self, turn_centre, ranged_to=()):
        pose_filter = PoseFilter(Pose(2.0, 2.0, 0.0), 0.36, ERRORS._replace(turn_centre=turn_centre))
        for heading in (self.FACED[name] for name in ranged_to):
            turn = heading - pose_filter.heading
            pose_filter.go(0.0, turn, 0.0, 1.0, 1_000_000_000)
            view = wall_in_view(pose_filter.pose, AHEAD, HALF_BEAM, self.WALLS, [])
            for _ in range(10):
                fix_by_wall(pose_filter, view, AHEAD, view.distance)
        poses = {name: Pose(2.0, 2.0, heading) for name, heading in self.FACED.items()}
        views = {name: wall_in_view(pose, AHEAD, HALF_BEAM, self.WALLS, []) for name, pose in poses.items()}
        return {name: surer_by_wall(pose_filter, poses[name], view, AHEAD, 6) for name, view in views.items() if view}

    def test_one_that_was_just_ranged_to_is_worth_nothing(self):
        worths = self.worths((0.005, 0.005), ["north"])
        assert worths["north"] < 0.002 < worths["west"]

    def test_where_the_turn_centre_is_known_the_other_axis_is_worth_most(self):
        worths = self.worths((0.005, 0.005), ["north"])
        assert max(worths, key=worths.get) == "west"

    def test_where_it_is_not_the_other_side_is_worth_most_once_both_axes_are_known(self):
        worths = self.worths((0.03, 0.03), ["north", "west"])
        assert max(worths, key=worths.get) == "south"

    @pytest.mark.parametrize("direction", [0.0, 1.0, 2.0, 3.0, 4.0, 5.0])
    def test_a_place_millimetres_off_is_here_and_costs_no_turn_towards_it(self, direction):
        pose_filter = PoseFilter(Pose(2.0, 2.0, 0.0), 0.36, ERRORS._replace(turn_centre=(0.03, 0.03)))
        here, beside = (2.0, 2.0), (2.0 + 0.004 * math.cos(direction), 2.0 + 0.004 * math.sin(direction))
        poses = [Pose(*place, math.pi / 2) for place in (here, beside)]
        views = [wall_in_view(pose, AHEAD, HALF_BEAM, [NORTH], []) for pose in poses]
        worths = [surer_by_wall(pose_filter, *seen, AHEAD, 6) for seen in zip(poses, views, strict=True)]
        assert worths[1] == pytest.approx(worths[0], abs=1e-6)


class TestWallAhead:
    def test_square_to_it(self):
        view = wall_in_view(Pose(3.0, 3.0, math.pi / 2), AHEAD, HALF_BEAM, [NORTH, EAST], [])
        assert view.distance == pytest.approx(0.9)
        assert view.normal == pytest.approx((0.0, -1.0))

    @pytest.mark.parametrize(
        ("heading", "mount", "distance"),
        [
            (-math.pi / 2, Mount(-0.12, 0.0, math.pi), 0.88),
            (0.0, Mount(0.05, 0.10, math.pi / 2), 0.90),
            (math.pi, Mount(0.05, -0.10, -math.pi / 2), 0.90),
        ],
        ids=["backwards", "to the left", "to the right"],
    )
    def test_one_that_looks_elsewhere_hears_it_from_where_it_is(self, heading, mount, distance):
        view = wall_in_view(Pose(3.0, 3.0, heading), mount, HALF_BEAM, [NORTH], [])
        assert view.distance == pytest.approx(distance)
        assert view.normal == pytest.approx((0.0, -1.0))

    @given(st.floats(-0.17, 0.17))
    def test_within_the_beam_the_perpendicular_is_heard_whatever_the_heading(self, turned):
        view = wall_in_view(Pose(3.0, 3.0, math.pi / 2 + turned), AHEAD, HALF_BEAM, [NORTH], [])
        assert view.distance == pytest.approx(1.0 - AHEAD.ahead * math.cos(turned))

    @pytest.mark.parametrize(
        ("pose", "things"),
        [
            (Pose(3.0, 3.0, math.pi / 2 + 0.3), []),
            (Pose(3.0, 3.0, -math.pi / 2), []),
            (Pose(3.0, 0.5, math.pi / 2), []),
            (Pose(0.05, 3.0, math.pi / 2), []),
            (Pose(3.0, 3.0, math.pi / 2), [(3.0, 3.6)]),
        ],
        ids=["aslant", "turned away", "too far", "at the wall's end", "a jar in between"],
    )
    def test_where_it_is_not_plain_there_is_none(self, pose, things):
        assert wall_in_view(pose, AHEAD, HALF_BEAM, [NORTH], things) is None

    def test_of_two_the_nearer(self):
        inner = ((2.0, 3.5), (4.0, 3.5))
        assert wall_in_view(
            Pose(3.0, 3.0, math.pi / 2), AHEAD, HALF_BEAM, [NORTH, inner], []
        ).distance == pytest.approx(0.4)

    @pytest.mark.parametrize(
        "before",
        [((2.0, 3.4), (3.05, 3.4)), ((2.9, 3.5), (3.4, 3.2)), ((3.1, 3.4), (3.1, 3.9))],
        ids=["one that ends in the cone", "one aslant across it", "one on end"],
    )
    def test_none_through_a_wall_before_it_or_past_the_end_of_one(self, before):
        """What comes back is that one's echo, or none; a fix by it would move the position by the way between them."""
        assert wall_in_view(Pose(3.0, 3.0, math.pi / 2), AHEAD, HALF_BEAM, [NORTH, before], []) is None

    def test_through_a_doorway_that_is_wider_than_the_cone(self):
        jambs = ((0.0, 3.4), (2.7, 3.4)), ((3.3, 3.4), (6.0, 3.4))
        view = wall_in_view(Pose(3.0, 3.0, math.pi / 2), AHEAD, HALF_BEAM, [NORTH, *jambs], [])
        assert view.distance == pytest.approx(0.9)


class TestFixByWall:
    def test_it_fixes_the_axis_across_the_wall_and_no_other(self):
        """The robot is 10 cm nearer to the wall than it believes."""
        pose_filter = estimate(3.0, 3.0, math.pi / 2)
        for _ in range(20):
            view = wall_in_view(pose_filter.pose, AHEAD, HALF_BEAM, [NORTH], [])
            assert fix_by_wall(pose_filter, view, AHEAD, 0.8)
        assert pose_filter.y == pytest.approx(3.1, abs=0.005)
        assert pose_filter.x == pytest.approx(3.0, abs=0.01)
        assert spread(pose_filter)[0] == pytest.approx(0.2, abs=0.01)
        assert spread(pose_filter)[1] < 0.01

    def test_an_echo_from_something_else_is_refused(self):
        pose_filter = estimate(3.0, 3.0, math.pi / 2)
        view = wall_in_view(pose_filter.pose, AHEAD, HALF_BEAM, [NORTH], [])
        assert not fix_by_wall(pose_filter, view, AHEAD, 0.15)
        assert pose_filter.y == 3.0

    def test_of_two_as_unlikely_echoes_the_nearer_one_is_from_something_before_the_wall(self):
        pose_filter = estimate(3.0, 3.0, math.pi / 2)
        view = wall_in_view(pose_filter.pose, AHEAD, HALF_BEAM, [NORTH], [])
        assert not fix_by_wall(pose_filter, view, AHEAD, 0.9 - 2.2 * 0.2)
        assert pose_filter.pose == Pose(3.0, 3.0, math.pi / 2)
        assert fix_by_wall(pose_filter, view, AHEAD, 0.9 + 2.2 * 0.2)


class TestFixByMarker:
    PLACE = (0.5, 0.5)

    def sighting(self, truth, marker=PLACE):
        eye = truth.x + 0.06 * math.cos(truth.heading), truth.y + 0.06 * math.sin(truth.heading)
        dx, dy = marker[0] - eye[0], marker[1] - eye[1]
        bearing = math.remainder(math.atan2(dy, dx) - truth.heading, math.tau)
        return Detection(MARKER, bearing, math.hypot(dx, dy), 0.005, 0.02, 0.1)

    @given(
        off_x=st.floats(-0.15, 0.15),
        off_y=st.floats(-0.15, 0.15),
        x=st.floats(1.2, 2.5),
        y=st.floats(0.2, 2.0),
    )
    def test_it_fixes_both_axes(self, off_x, off_y, x, y):
        truth = Pose(x, y, math.atan2(self.PLACE[1] - y, self.PLACE[0] - x))
        pose_filter = estimate(x + off_x, y + off_y, truth.heading)
        before = math.hypot(off_x, off_y)
        for _ in range(30):
            fix_by_marker(pose_filter, 0, 0.06, self.PLACE, self.sighting(truth))
        assert math.dist(pose_filter.pose[:2], truth[:2]) < 0.02 + 0.5 * before
        assert max(spread(pose_filter)) < 0.15

    def test_right_on_the_mark_it_changes_nothing(self):
        truth = Pose(2.0, 1.0, -2.8)
        pose_filter = estimate(*truth)
        assert fix_by_marker(pose_filter, 0, 0.06, self.PLACE, self.sighting(truth))
        assert pose_filter.pose == pytest.approx(truth)

    def test_distance_and_bearing_correct_once_what_was_wrong_once(self):
        """The robot was set down turned and drove on: both tell of the same error of its heading."""
        off = math.radians(20.0)
        errors = ERRORS._replace(start=(0.01, 0.01, off))
        pose_filter = PoseFilter(Pose(3.0, 1.0, math.pi), 0.36, errors)
        for step in range(50):
            pose_filter.drive(0.02, 0.02, 0.02, 20_000_000 * (step + 1))
        truth = Pose(3.0 - math.cos(off), 1.0 - math.sin(off), math.pi + off)
        fix_by_marker(pose_filter, 1_000_000_000, 0.06, (0.5, 0.7), self.sighting(truth, (0.5, 0.7)))
        assert math.remainder(pose_filter.heading - truth.heading, math.tau) == pytest.approx(0.0, abs=0.2 * off)

    def test_too_near_it_says_nothing(self):
        pose_filter = estimate(0.5, 0.5, 0.0)
        assert not fix_by_marker(pose_filter, 0, 0.06, self.PLACE, Detection(MARKER, 0.0, 0.02, 0.01, 0.01, 0.1))

    def test_a_marker_where_there_can_be_none_is_refused(self):
        pose_filter = estimate(2.0, 1.0, -2.8)
        assert not fix_by_marker(pose_filter, 0, 0.06, self.PLACE, Detection(MARKER, 0.0, 8.0, 0.005, 0.02, 0.1))
