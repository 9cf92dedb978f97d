"""The instruments of tools/floors: floors keep their promises, the oracle knows what fits, the table tells."""

import importlib
import math
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.devices.jaws import jaws_size
from rover.estimate.field import ground_of
from rover.files import yaml_source
from rover.files.errand import Errand
from rover.files.given import Given
from rover.session.assembly import with_user_activities
from rover.simulation import TrueObject
from rover.trials.trial import Trial

ROOT = Path(__file__).parents[2]


POST_OF_24_CM = 502
"""A floor on which the middle of a post that the map has is 12 cm from its sides."""


@pytest.fixture(autouse=True)
def path(monkeypatch):
    for folder in ("honesty", "floors"):
        monkeypatch.syspath_prepend(str(ROOT / "tools" / folder))


@pytest.fixture
def generator():
    return importlib.import_module("generator")


@pytest.fixture
def oracle():
    return importlib.import_module("oracle")


@pytest.fixture
def table():
    return importlib.import_module("table")


@pytest.fixture
def results():
    return importlib.import_module("results")


@pytest.fixture(params=["cart", "broad", "small"])
def floors(request, generator):
    """Twenty floors for a robot, and its body."""
    body = generator.robot_named(request.param).body
    return [generator.generate(seed, body) for seed in range(1, 21)], body


def test_a_seed_gives_one_floor_and_another_seed_another(generator):
    body = generator.robot_named("cart").body
    assert generator.generate(7, body) == generator.generate(7, body) != generator.generate(8, body)


def test_a_body_passes_every_doorway_with_15_cm_to_spare(floors):
    drawn, body = floors
    widths = [math.dist(*doorway) for floor in drawn for doorway in floor.doorways]
    assert min(widths) >= body.width + 0.15 - 1e-9
    assert min(widths) < body.width + 0.17  # some are no wider than they must be


def test_a_start_is_free(floors):
    drawn, body = floors
    turning = math.hypot(body.gripper_reach, 0.5 * body.width)
    for floor in drawn:
        place = floor.start[:2]
        assert floor.clearance(place) > turning
        assert all(math.dist(place, one[1:]) > turning for one in floor.objects)


def test_objects_stand_within_the_field_and_in_nothing(floors, generator):
    drawn, body = floors
    for floor in [*drawn, generator.generate(POST_OF_24_CM, body)]:
        places = [one[1:] for one in floor.objects]
        assert places
        assert min(floor.clearance(place) for place in places) > 0.025
        assert not any(post.holds(place) for post in floor.posts for place in places)
        assert all(math.dist(one, other) > 0.05 for one in places for other in places if one is not other)


def test_a_post_of_the_map_is_among_its_walls(generator):
    floor = generator.generate(POST_OF_24_CM, generator.robot_named("cart").body)
    (post,) = floor.posts
    assert {one for name, one in floor.walls.items() if name.startswith("post")} == set(
        zip(post.corners, (*post.corners[1:], post.corners[0]), strict=True)
    )


def test_floors_are_of_all_kinds(generator):
    body = generator.robot_named("cart").body
    drawn = [generator.generate(seed, body) for seed in range(1, 61)]
    by_walls = (floor.clearance(one[1:]) for floor in drawn for one in floor.objects)
    assert any(abs(clearance - 0.08) < 0.005 for clearance in by_walls)
    for kind in (
        lambda floor: len(floor.boundary) == 6,
        lambda floor: len(floor.boundary) == 4,
        lambda floor: floor.closed,
        lambda floor: floor.hidden_posts,
        lambda floor: floor.hidden_walls,
        lambda floor: "post_1a" in floor.walls,
        lambda floor: floor.entry % 90,
        lambda floor: floor.marker is None,
        lambda floor: floor.expect is None,
        lambda floor: any(floor.tray.holds(one[1:]) for one in floor.objects),
        lambda floor: sum(name.startswith("side") for name in floor.walls) < len(floor.boundary),
    ):
        assert 0 < sum(bool(kind(floor)) for floor in drawn) < len(drawn)


@pytest.fixture
def folder():
    """A folder in the project: no file of an errand may lie outside."""
    (ROOT / "runs").mkdir(exist_ok=True)
    with TemporaryDirectory(prefix="floors-", dir=ROOT / "runs") as made:
        yield Path(made)


def test_its_files_are_errands_of_each_robot(generator, folder):
    """What is wrong with a file is raised."""
    for seed, robot in enumerate(generator.ROBOTS, 1):
        path = generator.write(seed, robot, folder)
        assembly, _ = with_user_activities(path, {}, Given())
        floor = generator.generate(seed, generator.robot_named(robot).body)
        walls = assembly.errand.field.walls
        assert list(walls) == list(floor.walls)
        assert np.array([*walls.values()]) == pytest.approx(np.array([*floor.walls.values()]))
        assert assembly.bench.jar_count == len(floor.objects)


@given(
    pose=st.tuples(st.floats(-1.0, 1.0), st.floats(-1.0, 1.0), st.floats(-3.1, 3.1)),
    ends=st.tuples(*(st.tuples(st.floats(-0.5, 0.5), st.floats(-0.5, 0.5)) for _ in "ab")),
)
def test_the_distance_from_a_rectangle_is_that_of_its_nearest_points(pose, ends):
    oracle = importlib.import_module("oracle")
    part = oracle.Part(-0.12, 0.2, 0.13)
    x, y, heading = pose
    found = oracle.distance(part, np.array([x]), np.array([y]), heading, ends)[0]
    nearest = math.inf
    for share in np.linspace(0.0, 1.0, 201):
        px = ends[0][0] + share * (ends[1][0] - ends[0][0]) - x
        py = ends[0][1] + share * (ends[1][1] - ends[0][1]) - y
        ahead, left = px * math.cos(heading) + py * math.sin(heading), py * math.cos(heading) - px * math.sin(heading)
        nearest = min(nearest, math.hypot(max(-0.12 - ahead, ahead - 0.2, 0.0), max(abs(left) - 0.13, 0.0)))
    assert found == pytest.approx(nearest, abs=0.005)


CORNERS = ((0.0, 0.0), (3.0, 0.0), (3.0, 3.0), (0.0, 3.0))
SIDES = tuple(zip(CORNERS, (*CORNERS[1:], CORNERS[0]), strict=True))


def reached(oracle, objects, walls=(), posts=(), margins=None, zone=((0.7, 2.4), 0.6)):
    """Return which objects of a room of 3 m by 3 m the demo's robot can reach, from (1 m, 0.6 m)."""
    from rover.files.errand import Zone
    from rover.files.robot import Body

    body = Body.model_validate(
        {"wheel_diameter": "72 mm", "track": "24 cm", "counts_per_rev": 1320, "gripper_reach": "16 cm"}
    )
    (x, y), side = zone
    tray = Zone.model_validate({"x": f"{x} m", "y": f"{y} m", "width": f"{side} m", "depth": f"{side} m"})
    place = oracle.Place(
        SIDES,
        [*SIDES, *walls],
        [oracle.Circle(*post) for post in posts],
        {name: oracle.Circle(*at, 0.025) for name, at in objects.items()},
        (1.0, 0.6, 0.3),
        tray,
        0.5 * math.pi,
    )
    found = oracle.reach(place, oracle.robot_of(body, jaws_size(None, 0.05), 0.05), margins or oracle.SAFE)
    return set(found.objects) if found.tray else None


def with_gap(low, high):
    """Return a partition across the room at x = 1.8 m with a gap."""
    return [((1.8, 0.0), (1.8, low)), ((1.8, high), (1.8, 3.0))]


def test_what_stands_free_can_be_reached_and_what_is_in_a_closed_room_cannot(oracle):
    objects = {"here": (1.2, 1.5), "there": (2.4, 1.5)}
    assert reached(oracle, objects) == {"here", "there"}
    assert reached(oracle, objects, [((1.8, 0.0), (1.8, 3.0))]) == {"here"}


def test_a_doorway_must_be_as_wide_as_body_and_margins(oracle):
    objects = {"there": (2.4, 1.5)}
    for width, is_passed in ((0.26 + 0.15, True), (0.26 + 2 * oracle.SAFE.travelling - 0.01, False)):
        for low in (1.0, 1.02):
            assert reached(oracle, objects, with_gap(low, low + width)) == ({"there"} if is_passed else set())
    assert reached(oracle, objects, with_gap(1.02, 1.02 + 0.25), margins=oracle.BARE) == set()
    assert reached(oracle, objects, with_gap(1.02, 1.02 + 0.33), margins=oracle.BARE) == {"there"}


def test_a_post_in_a_doorway_shuts_it(oracle):
    assert reached(oracle, {"there": (2.4, 1.5)}, with_gap(1.0, 1.6), [(1.8, 1.3, 0.05)]) == set()


def test_an_object_in_a_corner_can_be_reached_aslant_as_long_as_the_jaws_have_room(oracle):
    assert reached(oracle, {"corner": (2.9, 0.1)}) == {"corner"}
    assert reached(oracle, {"corner": (2.95, 0.05)}) == set()
    assert reached(oracle, {"between": (2.2, 0.1)}, [], [(2.0, 0.1, 0.05), (2.4, 0.1, 0.05)]) == {"between"}
    assert reached(oracle, {"between": (2.2, 0.1)}, [], [(2.1, 0.1, 0.04), (2.3, 0.1, 0.04)]) == set()


def test_what_is_in_the_way_is_taken_first(oracle):
    lane = [((2.2, 0.0), (2.2, 1.2)), ((2.62, 0.0), (2.62, 1.2))]
    assert reached(oracle, {"front": (2.41, 0.7), "rear": (2.41, 0.3)}, lane) == {"front", "rear"}
    assert reached(oracle, {"rear": (2.41, 0.3)}, lane, [(2.41, 0.7, 0.025)]) == set()


def test_what_cannot_be_taken_is_in_the_way(oracle):
    doorway = [*with_gap(1.0, 1.41), ((1.8, 1.0), (2.3, 1.0)), ((1.8, 1.41), (2.3, 1.41))]
    assert reached(oracle, {"there": (2.7, 1.5)}, doorway) == {"there"}
    assert reached(oracle, {"at the jamb": (2.05, 1.03), "there": (2.7, 1.5)}, doorway) == set()


def test_a_body_needs_room_to_turn_round_a_bend(oracle):
    lane = [((2.04, 0.0), (2.04, 1.5)), ((2.36, 0.32), (2.36, 1.5)), ((2.36, 0.32), (3.0, 0.32))]
    objects = {"before the bend": (2.2, 0.3), "behind it": (2.8, 0.16)}
    assert reached(oracle, objects, lane, margins=oracle.BARE) == {"before the bend"}


def test_nothing_counts_where_the_tray_cannot_be_entered(oracle):
    assert reached(oracle, {"here": (1.2, 1.5)}, [((0.3, 1.9), (1.2, 1.9))]) is None


GOOD = {"robot": "cart", "objects": 2, "reachable": ["1", "2"], "room": 6, "delivered": ["1", "2"], "counted": 2,
        "result": "done", "reason": "all_in", "is_clean": True, "took_s": 300.0}  # fmt: skip


def rows(results, count=40, **of_last):
    """Return so many good runs, the last of which is otherwise."""
    good = [results.Row(f"rover rehearse {floor}", floor=floor, **GOOD) for floor in range(1, count + 1)]
    return [*good[:-1], replace(good[-1], **of_last)]


def test_a_table_without_fault_is_passed(results, capsys):
    assert results.show(rows(results)) == 0
    assert "*" not in capsys.readouterr().out


@pytest.mark.parametrize(
    ("fault", "told"),
    [
        ({"delivered": ["1"], "is_clean": True}, "clean result (done, all_in), and not all is in"),
        ({"touched": 1}, "touched in the tray"),
        ({"took_s": 1800.0}, "not over in its time"),
        ({"bumps": [(0.2, "side_1")]}, "bump: with something mapped too fast"),
        ({"error": "it fell over"}, "no run: it fell over"),
    ],
)
def test_one_fault_in_forty_runs_misses_a_bar_and_is_told_with_its_command(results, capsys, fault, told):
    assert results.show(rows(results, **fault)) == 1
    out = capsys.readouterr().out
    assert f"1: {told} (cart 1)\n    python tools/floors/generator.py 40 --robot cart && rover rehearse 40" in out
    assert "*" in out


def test_bars_are_shares(results):
    few = {"delivered": ["1"], "left": {"2": "given up: too near a wall"}, "result": "failed", "is_clean": False}
    assert results.show(rows(results, **few)) == 0
    assert results.show(3 * rows(results, 10, **few)) == 1
    slow = {"bumps": [(0.1, "side_1")]}
    assert results.show(rows(results, **slow)) == 0
    assert results.show(rows(results, 10, **slow)) == 1


def test_without_a_range_finder_a_thing_that_the_map_has_not_may_be_met_once_and_slowly(results):
    def wrong(*bumps, robot="unranged"):
        return list(results.bumps_wrong(replace(rows(results, 1)[0], robot=robot, bumps=bumps)))

    assert wrong((0.09, "unmapped post 1"), (0.09, "unmapped post 2")) == []
    assert wrong((0.09, "unmapped post 1"), (0.09, "unmapped post 1")) == ["with something unmapped, again"]
    assert wrong((0.12, "unmapped post 1")) == ["with something unmapped too fast"]
    assert wrong((0.05, "side_1")) == ["with something mapped"]
    assert wrong((0.05, "unmapped post 1"), robot="cart") == ["with something unmapped"]


def test_no_more_is_due_than_the_tray_has_room_for(results):
    full = {"room": 1, "delivered": ["1"], "left": {"2": "never chosen"}, "result": "failed", "is_clean": False}
    row = rows(results, 1, **full)[0]
    assert row.brought == (1, 1)
    assert list(row.wrong) == []


def test_what_is_brought_from_a_tight_place_takes_room_too(results):
    row = rows(results, 1, tight=["3"], room=2, delivered=["1", "3"], left={"2": "never chosen"})[0]
    assert row.brought == (1, 1)


def test_what_stands_in_the_tray_takes_the_room_of_the_slots_that_it_bars(table):
    errand = Errand.model_validate(yaml_source.read(ROOT / "config/greenhouse.yaml", "greenhouse.yaml").values)
    ground = ground_of(errand.field, errand.widest, None)
    whole = table._room(ground, [])
    assert whole == len(ground.slots)
    near = max(ground.slots, key=lambda slot: slot.number)
    assert table._room(ground, [TrueObject("1", "amber", near.x, near.y)]) < whole - 1
    assert table._room(ground, [TrueObject("1", "amber", 4.0, 3.0)]) == whole


def test_of_a_run_it_is_told_what_was_left_and_why(table, generator, folder):
    """Whoever is there presses stop after a second."""
    errand = generator.write(6, "cart", folder)
    row = table.run(table.Task(Trial(0, "", errand, 6, Given({}, ("at 1 s: stop pressed",))), "cart", 6))
    assert (row.result, row.error, row.objects) == (
        "stopped",
        "",
        len(generator.generate(6, generator.robot_named("cart").body).objects),
    )
    assert row.reachable
    assert list(row.left) == row.reachable
    assert set(row.left.values()) <= {"never chosen", "chosen, and not brought"}
    assert next(row.wrong).startswith("left, stopped (stop was pressed")
