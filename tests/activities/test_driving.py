"""Straight runs, turns, places: what each does in truth, and every reason to fail."""

import math

import pytest

from rover.events import HoldBack, Note, StateChange

DRIVE_SILENT = ["at 0 s: drive silent"]


class TestStraightRuns:
    @pytest.mark.parametrize("length", [0.3, 1.0, 2.0])
    def test_a_length_is_driven(self, doing, length):
        did = doing(("run_straight", {"length": f"{length} m"}))
        assert did.progress == "done", did.why
        assert did.way == pytest.approx((length, 0.0, 0.0), abs=0.04)

    def test_backwards(self, doing):
        did = doing(("reverse", {"length": "40 cm"}))
        assert did.progress == "done", did.why
        assert did.way == pytest.approx((-0.4, 0.0, 0.0), abs=0.03)

    def test_speed_is_a_limit(self, doing):
        slow, fast = (doing(("run_straight", {"length": "1 m", "speed": speed})) for speed in ("10 cm/s", "40 cm/s"))
        assert slow.seconds > 10.0
        assert fast.seconds < 6.0

    def test_unlike_motors_do_not_make_it_a_curve(self, doing):
        did = doing(("run_straight", {"length": "2 m"}), motors={"mismatch": 0.15})
        assert did.way == pytest.approx((2.0, 0.0, 0.0), abs=0.05)

    def test_a_random_length_lies_between_its_ends(self, doing):
        ahead = doing(("run_straight", {"length": "50 cm", "up_to": "1.5 m"})).way[0]
        assert 0.45 < ahead < 1.55
        assert doing(("run_straight", {"length": "50 cm", "up_to": "1.5 m"})).way[0] == ahead

    def test_held_back_by_an_obstacle_it_fails(self, doing):
        did = doing(("run_straight", {"length": "2 m"}), obstacles=[{"x": "4 m", "y": "2 m"}])
        assert (did.progress, did.why) == ("failed", "held back for 3 s")
        assert 0.5 < did.way[0] < 0.85

    def test_held_back_by_the_edge_of_the_field_it_fails(self, doing):
        did = doing(("run_straight", {"length": "5 m"}))
        assert (did.progress, did.why) == ("failed", "held back for 3 s")
        assert 2.6 < did.way[0] < 2.92

    def test_wheels_that_are_driven_and_do_not_turn_fail(self, doing):
        did = doing(("run_straight", {"length": "2 m"}), faults=DRIVE_SILENT)
        assert (did.progress, did.why) == ("failed", "the wheels are driven and do not turn")


class TestDriveOn:
    def test_it_drives_until_the_state_is_left(self, doing):
        """Gently at first: beside the range finder's cone nobody has looked yet."""
        did = doing(("drive_on", {"speed": "20 cm/s"}), lasts="5 s")
        assert did.progress == "late"
        assert did.way == pytest.approx((0.75, 0.0, 0.0), abs=0.1)
        farther = doing(("drive_on", {"speed": "20 cm/s"}), lasts="10 s")
        assert farther.way[0] - did.way[0] == pytest.approx(1.0, abs=0.1)

    def test_by_default_at_half_the_limit(self, doing):
        ways = [doing(("drive_on", {}), lasts=lasts).way[0] for lasts in ("5 s", "10 s")]
        assert ways[1] - ways[0] == pytest.approx(1.0, abs=0.1)

    def test_stalled_it_fails(self, doing):
        assert doing(("drive_on", {}), faults=DRIVE_SILENT).why == "the wheels are driven and do not turn"


class TestTurn:
    @pytest.mark.parametrize("degrees", [90, -90, 30, 170, -170])
    def test_by_an_angle(self, doing, degrees):
        did = doing(("turn", {"by": f"{degrees} deg"}))
        assert did.progress == "done", did.why
        assert math.degrees(did.way[2]) == pytest.approx(degrees, abs=4.0)
        assert math.hypot(*did.way[:2]) < 0.03

    @pytest.mark.parametrize(("to", "turned"), [(90, 90), (-135, -135), (190, -170)])
    def test_to_a_heading_it_takes_the_short_way(self, doing, to, turned):
        assert math.degrees(doing(("turn", {"to": f"{to} deg"})).way[2]) == pytest.approx(turned, abs=4.0)

    def test_rate_is_a_limit(self, doing):
        assert doing(("turn", {"by": "90 deg", "rate": "15 deg/s"})).seconds > 6.0

    def test_stalled_it_fails(self, doing):
        did = doing(("turn", {"by": "90 deg"}), faults=DRIVE_SILENT)
        assert (did.progress, did.why) == ("failed", "the wheels are driven and do not turn")

    def test_with_counts_and_heading_missing_it_stands_still_and_goes_on_when_they_return(self, doing):
        did = doing(("turn", {"by": "90 deg"}), faults=["at 1 s: link silent for 8 s"])
        assert did.progress == "done", did.why
        assert did.seconds > 8.0
        assert math.degrees(did.way[2]) == pytest.approx(90.0, abs=4.0)


class TestDriveTo:
    @pytest.mark.parametrize("place", [(5.0, 3.0), (3.0, 3.5), (2.0, 1.0)])
    def test_a_point(self, doing, place):
        did = doing(("drive_to", {"place": [f"{place[0]} m", f"{place[1]} m"]}))
        assert did.progress == "done", did.why
        assert (did.way[0] + 3.0, did.way[1] + 2.0) == pytest.approx(place, abs=0.08)

    def test_a_place_with_a_heading(self, doing):
        places = {"channel": {"x": "4 m", "y": "3 m", "heading": "90 deg"}}
        did = doing(("drive_to", {"place": "field.places.channel"}), field={"places": places})
        assert did.progress == "done", did.why
        assert did.way == pytest.approx((1.0, 1.0, math.pi / 2.0), abs=0.1)

    def test_the_gate_of_the_tray_faces_the_free_slot(self, doing):
        did = doing(("drive_to", {"place": "zone.gate"}))
        end = did.run.true_track[-1]
        assert did.progress == "done", did.why
        assert abs(math.remainder(end.heading - math.pi, math.tau)) < 0.08
        assert end.x > 1.25 + 0.16

    @pytest.mark.parametrize("heading", ["0 deg", "4 deg", "-4 deg", "180 deg"])
    @pytest.mark.parametrize("y", ["15 cm", "17 cm", "20 cm"])
    def test_from_close_beside_the_boundary(self, doing, y, heading):
        """The body is 26 cm wide: from 2 to 7 cm are left, too few to turn on the spot."""
        start = {"x": "3 m", "y": y, "heading": heading}
        did = doing(("drive_to", {"place": ["5 m", "2 m"]}), field={"start": start}, lasts="90 s")
        assert did.progress == "done", did.why
        assert did.run.truth.farthest_outside_m < 0.01

    def test_round_an_unknown_obstacle(self, doing):
        did = doing(("drive_to", {"place": ["5 m", "2 m"]}), obstacles=[{"x": "4 m", "y": "2 m", "radius": "6 cm"}])
        assert did.progress == "done", did.why
        assert max(abs(pose.y - 2.0) for pose in did.run.true_track) > 0.1

    def test_what_was_met_is_driven_round_the_next_time(self, doing):
        """A range finder that hears nothing: the post is touched on the first way, not on those that follow."""
        ways = [("drive_to", {"place": [x, "2 m"]}) for x in ("5 m", "3 m", "5 m")]
        did = doing(*ways, obstacles=[{"x": "4 m", "y": "2 m", "radius": "6 cm"}], range={"missing": 1.0})
        met = [note.text for note in did.run.events_of(Note) if note.kind == "met"]
        assert did.progress == "done", did.why
        assert 1 <= len(met) <= 2, met
        assert all(text.startswith("something touched") for text in met)

    def test_through_a_doorway_of_the_bodys_width_and_15_cm(self, doing):
        walls = {"one": [["4 m", "0 m"], ["4 m", "1.3 m"]], "other": [["4 m", "1.71 m"], ["4 m", "4 m"]]}
        did = doing(("drive_to", {"place": ["5 m", "2.5 m"]}), field={"walls": walls})
        assert did.progress == "done", did.why
        assert math.dist(did.way[:2], (2.0, 0.5)) < 0.08

    @pytest.mark.parametrize(("x", "y", "heading"), [(3.4, 1.8, -90), (3.5, 1.42, 0)])
    def test_who_comes_from_beside_a_tight_doorway_passes_it_on_its_axis(self, doing, x, y, heading):
        """A leg that ends where a tight one begins is driven to its end, and no corner is cut."""
        walls = {"one": [["4 m", "0 m"], ["4 m", "1.3 m"]], "other": [["4 m", "1.71 m"], ["4 m", "4 m"]]}
        start = {"x": f"{x} m", "y": f"{y} m", "heading": f"{heading} deg"}
        did = doing(("drive_to", {"place": ["5 m", "1.6 m"]}), field={"walls": walls, "start": start})
        assert did.progress == "done", did.why
        assert max(abs(pose.y - 1.505) for pose in did.run.true_track if abs(pose.x - 4.0) < 0.15) < 0.03

    def test_before_a_tight_doorway_a_position_that_has_become_unsure_is_made_surer(self, doing):
        """Three counts of a hundred are missed, the doorway is far off; who ranges first jams at none of its walls."""
        walls = {"south": [["0 m", "0 m"], ["6 m", "0 m"]], "one": [["4.5 m", "45 cm"], ["4.5 m", "4 m"]]}
        start = {"x": "1 m", "y": "3.4 m", "heading": "0 deg"}
        goal = ("drive_to", {"place": ["5.3 m", "2 m"]})
        did = doing(goal, field={"walls": walls, "start": start}, counts={"missed": 0.03}, lasts="2 min")
        assert did.progress == "done", did.why
        assert did.run.truth.bumps == 0
        notes = [note.kind for note in did.run.events_of(Note)]
        assert "fix" in notes
        assert "met" not in notes

    def test_what_is_heard_of_a_known_wall_holds_nobody_back_and_what_stands_before_it_does(self, doing):
        """The wall itself is kept clear of by the map: beside one, or in a doorway, all the ways slant towards it."""
        field = {"walls": {"east": [["6 m", "0 m"], ["6 m", "4 m"]]}}
        before = [{"x": "5.8 m", "y": "2 m", "radius": "4 cm"}]
        for obstacles, cause in (([], "boundary"), (before, "obstacle")):
            did = doing(("run_straight", {"length": "4 m"}), field=field, obstacles=obstacles)
            causes = {event.cause for event in did.run.events_of(HoldBack)}
            assert causes & {"boundary", "obstacle"} == {cause}

    @pytest.mark.parametrize(("without", "progress"), [(["range"], "done"), ([], "failed")])
    def test_who_can_hear_no_wall_feels_for_a_doorway_that_doubt_would_close(self, doing, without, progress):
        walls = {"one": [["4 m", "0 m"], ["4 m", "2.3 m"]], "other": [["4 m", "2.65 m"], ["4 m", "4 m"]]}
        did = doing(
            ("drive_to", {"place": ["5 m", "2.5 m"]}), field={"walls": walls}, without=without, range={"missing": 1.0}
        )
        assert did.progress == progress, did.why

    def test_what_was_touched_while_feeling_is_not_tried_again(self, doing):
        """The doorway is shut by what the map has not; felt for, it is touched once, and then there is no way."""
        walls = {"one": [["4 m", "0 m"], ["4 m", "2.3 m"]], "other": [["4 m", "2.65 m"], ["4 m", "4 m"]]}
        shut = [{"x": "4.1 m", "y": "2.48 m", "radius": "6 cm"}]
        ways = [("drive_to", {"place": ["5 m", "2.5 m"]}) for _ in range(3)]
        did = doing(*ways, field={"walls": walls}, without=["range"], obstacles=shut, lasts="2 min")
        assert (did.progress, did.why) == ("failed", "found no way round what stands in between")
        assert len([note for note in did.run.events_of(Note) if note.kind == "met"]) <= 2

    def test_beside_a_place_on_which_something_stands(self, doing, jar):
        did = doing(
            ("stand_still", {}), ("skip_target", {}), ("drive_to", {"place": ["4 m", "2 m"]}), objects=[jar(4.05, 2.0)]
        )
        assert did.progress == "done", did.why
        assert math.dist(did.way[:2], (1.0, 0.0)) < 0.35
        (thing,) = did.run.final_objects
        assert (thing.x, thing.y) == pytest.approx((4.05, 2.0))

    def test_round_a_jar_that_was_seen(self, doing, jar):
        """It is put off first, since a target is driven to, not round."""
        did = doing(
            ("stand_still", {}), ("skip_target", {}), ("drive_to", {"place": ["5 m", "2 m"]}), objects=[jar(4.0, 2.0)]
        )
        assert did.progress == "done", did.why
        (thing,) = did.run.final_objects
        assert (thing.x, thing.y) == pytest.approx((4.0, 2.0))

    def test_a_wall_across_the_field_is_no_way(self, doing):
        walls = {"middle": [["4 m", "0 m"], ["4 m", "4 m"]]}
        did = doing(("drive_to", {"place": ["5 m", "2 m"]}), field={"walls": walls})
        assert (did.progress, did.why) == ("failed", "found no way round what stands in between")

    def test_a_place_that_there_is_none_of(self, doing):
        did = doing(("drive_to", {"place": "target.place"}))
        assert (did.progress, did.why) == ("failed", "there is no target.place now")

    def test_a_field_full_of_unknown_things(self, doing):
        ring = [
            {"x": f"{3 + 0.6 * math.cos(angle)} m", "y": f"{2 + 0.6 * math.sin(angle)} m", "radius": "12 cm"}
            for angle in (math.tau * index / 14 for index in range(14))
        ]
        did = doing(("drive_to", {"place": ["5 m", "2 m"]}), obstacles=ring, lasts="3 min")
        assert did.progress == "failed"
        assert did.why
        assert math.hypot(*did.way[:2]) < 0.6

    def test_stalled(self, doing):
        """Wheels that turn neither way stop the run: whether they or the counts stand still, nobody knows."""
        did = doing(("drive_to", {"place": ["5 m", "2 m"]}), faults=DRIVE_SILENT)
        assert did.progress == "both sides are driven and not one count comes: wheels or counts stand still"


def test_standing_still_lasts_until_the_state_is_left(doing):
    did = doing(("stand_still", {}), lasts="3 s")
    assert did.progress == "late"
    assert did.way == pytest.approx((0.0, 0.0, 0.0), abs=1e-9)


def test_places_are_visited_in_turn(doing):
    places = {"one": {"x": "4 m", "y": "2 m"}, "two": {"x": "4 m", "y": "3 m"}}
    step = ("drive_to", {"place": "field.next_place"})
    did = doing(step, step, step, field={"places": places})
    at = {change.at_ns for change in did.run.happenings if isinstance(change.event, StateChange)}
    stops = [(pose.x, pose.y) for pose in did.run.true_track if any(abs(pose.at_ns - time) < 6e7 for time in at)]
    for place in ((4.0, 2.0), (4.0, 3.0)):
        assert min(math.dist(place, stop) for stop in stops) < 0.1
    assert (did.way[0] + 3.0, did.way[1] + 2.0) == pytest.approx((4.0, 2.0), abs=0.1)
