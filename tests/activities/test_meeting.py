"""What a turn runs into goes onto the map, and is not run into again; it is not what was known to be free."""

import math

import pytest

from rover.events import Note

BESIDE = {"x": "3.1 m", "y": "2.17 m", "radius": "3 cm"}
"""A post before the left side of the front, beside the beam."""


def met(did):
    return [note.text for note in did.run.events_of(Note) if note.kind == "met"]


@pytest.mark.parametrize("post", [BESIDE, {**BESIDE, "y": "1.83 m"}], ids=["left", "right"])
def test_the_marker_is_not_pushed_for(doing, post):
    """It fails soon, and says what it touched: pushed at again and again it would stop the run."""
    side = math.copysign(1.0, float(post["y"].split()[0]) - 2.0)
    zone = {"x": "75 cm", "y": "2 m", "width": "1 m", "depth": "1 m", "entry": "180 deg"}
    did = doing(("sight_marker", {}), field={"zone": zone | {"marker": ["1.5 m", f"{2.0 + side} m"]}}, obstacles=[post])
    assert (did.progress, did.why) == ("failed", "the wheels are driven and do not turn")
    assert did.seconds < 10.0
    assert len(met(did)) == 1


def test_a_wall_is_ranged_to_though_a_post_is_in_the_way_of_the_turn(doing):
    walls = {"walls": {"north": [["0 m", "4 m"], ["6 m", "4 m"]]}}
    did = doing(("range_walls", {}), field=walls, obstacles=[BESIDE], lasts="3 min")
    assert did.progress == "done"
    assert met(did)


def test_the_turn_at_a_place_is_not_pushed_for(doing):
    """What it touches there is on its map then: from another side it may do, else it fails."""
    goal = {"gate": {"x": "3.5 m", "y": "2 m", "heading": "90 deg"}}
    beside = {"x": "3.6 m", "y": "2.17 m", "radius": "3 cm"}
    did = doing(("drive_to", {"place": "field.places.gate"}), field={"places": goal}, obstacles=[beside], lasts="2 min")
    assert did.progress in ("done", "failed")
    assert met(did)


def test_a_sweep_goes_the_other_way_round_from_what_it_touched(doing):
    did = doing(("sweep", {}), obstacles=[BESIDE], lasts="2 min")
    assert did.progress == "done"
    assert did.run.truth.bumps == len(met(did)) == 1
    assert math.degrees(did.way[2]) < -180.0


HEARD = {"x": "3.6 m", "y": "2.19 m", "radius": "3 cm"}
"""A post beside a lane along y = 2 m, before the body's side, that the range finder hears while it turns."""
ZONE = {"x": "2.6 m", "y": "2 m", "width": "10 cm", "depth": "10 cm", "entry": "180 deg"}
THERE = {"places": {"there": {"x": "4.2 m", "y": "2 m"}}}


def test_what_was_heard_beside_the_lane_is_driven_round(doing):
    did = doing(("sweep", {}), ("drive_to", {"place": "field.places.there"}), field=THERE, obstacles=[HEARD])
    assert did.progress == "done"
    assert did.run.truth.bumps == 0
    assert did.way[:2] == pytest.approx((1.2, 0.0), abs=0.05)


def test_what_was_gripped_does_not_stand_where_it_was_heard(doing, jar):
    """The turn home goes round with the load, though the jar was heard before it was seen, and then no more."""
    grip = [("sweep", {}), ("close_in", {}), ("close_jaws", {}), ("record_find", {}), ("turn", {"by": "170 deg"})]
    did = doing(*grip, objects=[jar(4.2, 2.0)], lasts="20 s")
    assert did.progress == "done"
    free = doing(*grip, objects=[jar(4.2, 2.0)], lasts="20 s", devices={"range": {"beam": "1 deg"}})
    assert did.seconds == pytest.approx(free.seconds, rel=0.1)


def test_where_what_was_heard_leaves_no_way_one_is_tried(doing):
    """In a lane between the boundaries that is little wider than the robot; the posts stand beyond the boundary."""
    lane = [["2.5 m", "1.75 m"], ["4.6 m", "1.75 m"], ["4.6 m", "2.25 m"], ["2.5 m", "2.25 m"]]
    posts = [{"x": "3.6 m", "y": y, "radius": "3 cm"} for y in ("2.29 m", "1.71 m")]
    did = doing(
        ("sweep", {}),
        ("drive_to", {"place": "field.places.there"}),
        field={**THERE, "boundary": lane, "zone": ZONE},
        obstacles=posts,
        lasts="2 min",
    )
    assert did.progress == "done"
    assert did.run.truth.bumps == 0
