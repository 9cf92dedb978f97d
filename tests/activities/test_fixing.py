"""Fixing the position: squared up to a wall or facing the marker, the robot then knows what it did not."""

import math

import pytest

WALLS = {
    "north": [["0 m", "4 m"], ["6 m", "4 m"]],
    "east": [["6 m", "0 m"], ["6 m", "4 m"]],
    "south": [["0 m", "0 m"], ["6 m", "0 m"]],
    "west": [["0 m", "0 m"], ["0 m", "4 m"]],
}

ZONE = {"x": "75 cm", "y": "2 m", "width": "1 m", "depth": "1 m", "entry": "180 deg", "marker": ["1.2 m", "2 m"]}


def sigmas(did):
    """Return the standard deviations (m) of x and y that the robot ended with."""
    point = did.run.track[-1].point
    return point.sigma_x, point.sigma_y


class TestSquareUp:
    @pytest.mark.parametrize(("wall", "turned"), [("north", 90.0), ("south", -90.0)])
    def test_it_faces_the_wall_and_is_sure_of_one_axis(self, doing, wall, turned):
        did = doing(("square_up", {"wall": wall}), field={"walls": WALLS})
        assert did.progress == "done"
        assert math.degrees(did.way[2]) == pytest.approx(turned, abs=4.0)
        across, _ = sigmas(did)
        assert sigmas(did)[1] < 0.015 < across

    def test_told_no_wall_it_takes_the_one_that_tells_most(self, doing):
        """Heading east with a doubtful heading, the way across is what is not known: north or south tells it."""
        did = doing(("run_straight", {"length": "1.2 m"}), ("square_up", {}), field={"walls": WALLS})
        assert did.progress == "done"
        assert abs(math.degrees(did.way[2])) == pytest.approx(90.0, abs=4.0)
        assert sigmas(did)[1] < 0.015

    def test_at_the_start_it_takes_the_one_behind(self, doing):
        """How far ahead the point lies about which the robot turns is not known: a half turn tells, and the other axis
        as it passes."""
        walls = {"walls": WALLS, "start": {"x": "4.5 m", "y": "2 m", "heading": "90 deg"}}
        did = doing(("square_up", {}), field=walls)
        assert did.progress == "done"
        assert abs(math.degrees(did.way[2])) == pytest.approx(180.0, abs=4.0)
        assert max(sigmas(did)) < 0.03

    def test_a_wall_behind_a_known_object_is_not_taken(self, doing, jar):
        """The jar ahead echoes before the east wall does; west is out of reach, and there is no other."""
        walls = {name: WALLS[name] for name in ("east", "west")}
        did = doing(("stand_still", {}), ("square_up", {}), field={"walls": walls}, objects=[jar(4.0, 2.0)])
        assert (did.progress, did.why) == ("failed", "no known wall is in reach of the range finder")

    def test_without_walls_it_fails_at_once(self, doing):
        did = doing(("square_up", {}))
        assert (did.progress, did.why) == ("failed", "no known wall is in reach of the range finder")
        assert did.seconds < 0.5

    def test_where_the_wall_does_not_echo_it_gives_up(self, doing):
        did = doing(("square_up", {"wall": "north"}), field={"walls": WALLS}, range={"missing": "100 %"})
        assert (did.progress, did.why) == ("failed", "no echo came from where the wall should be")


class TestRangeWalls:
    def test_it_is_sure_of_both_axes_afterwards(self, doing):
        """Of the first a little less: the turn to the second wall moved the base, who knows by how much."""
        did = doing(("range_walls", {}), field={"walls": WALLS}, lasts="60 s")
        assert did.progress == "done"
        assert min(sigmas(did)) < 0.012
        assert max(sigmas(did)) < 0.025

    def test_where_no_wall_is_in_reach_it_drives_to_one(self, doing):
        """From 3 m, 2 m in a hall of 6 by 4 m the west wall is beyond the range finder's reach."""
        walls = {"west": WALLS["west"]}
        did = doing(("range_walls", {}), field={"walls": walls}, lasts="60 s")
        assert did.progress == "done"
        assert did.way[0] < -0.3
        assert sigmas(did)[0] < 0.02

    def test_what_does_not_echo_is_not_tried_for_ever(self, doing):
        did = doing(("range_walls", {}), field={"walls": WALLS}, range={"missing": "100 %"}, lasts="2 min")
        assert did.progress == "failed"

    def test_without_walls_it_fails_at_once(self, doing):
        did = doing(("range_walls", {}))
        assert (did.progress, did.why) == ("failed", "no known wall is in reach of the range finder")
        assert did.way[:2] == pytest.approx((0.0, 0.0), abs=0.02)


class TestSightMarker:
    def test_it_faces_the_marker_and_knows_both_axes_better(self, doing):
        did = doing(("sight_marker", {}), field={"zone": ZONE})
        assert did.progress == "done"
        assert abs(math.degrees(did.way[2])) == pytest.approx(180.0, abs=4.0)

    def test_without_a_marker_it_fails_at_once(self, doing):
        did = doing(("sight_marker", {}))
        assert (did.progress, did.why) == ("failed", "the errand's zone has no 'marker'")
