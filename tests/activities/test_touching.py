"""A robot that runs into a wall of its map knows where it stands across that."""

import math
from types import SimpleNamespace

import pytest

from rover.activities.getting_free import Piece
from rover.activities.meeting import Touch
from rover.activities.touching import fix_by_touch
from rover.errand.obstacles import Obstacles
from rover.estimate.covariance import Errors
from rover.estimate.field import Ground
from rover.estimate.pose import PoseFilter
from rover.files import yaml_source
from rover.files.robot import Robot
from rover.geometry import Pose
from rover.motion.free_space import FreeSpace
from rover.motion.outline import Barrier
from tests.activities.conftest import CART

AHEAD, BACK = Piece(1.0), Piece(-1.0)
BOUNDARY = ((0.0, 0.0), (6.0, 0.0), (6.0, 4.0), (0.0, 4.0))
EDGES = tuple(zip(BOUNDARY, (*BOUNDARY[1:], BOUNDARY[0]), strict=True))
EAST, JAMBS = EDGES[1], (((3.0, 0.0), (3.0, 1.8)), ((3.0, 2.2), (3.0, 4.0)))
FRONT = 0.19


@pytest.fixture
def robot():
    return Robot.model_validate(yaml_source.read(CART, CART.name).values)


def known(robot, pose, walls, sigma=0.05, met=()):
    """Return what a robot knows that is thought to be at a pose, as unsure as that (m), and has touched things."""
    errors = Errors((sigma, sigma, 0.02), growth=1e-4, heading_noise=0.03, heading_bias=0.0)
    space = FreeSpace(robot, Ground(BOUNDARY, EDGES, walls, None, 0.0, ()), 0.05)
    notes = []
    obstacles = Obstacles([])
    if met:
        obstacles.touched(met, 0)
    return SimpleNamespace(
        robot=robot,
        ground=Ground(BOUNDARY, EDGES, walls, None, 0.0, ()),
        space=space,
        filter=PoseFilter(pose, 0.36, errors),
        loaded=False,
        now_ns=0,
        ledger=SimpleNamespace(obstacles=obstacles),
        pose=pose,
        note=lambda *note: notes.append(note),
        notes=notes,
    )


def test_near_what_was_touched_before_and_is_on_no_map_it_may_be_that(robot):
    pose = Pose(6.0 - FRONT - 0.1, 2.0, 0.0)
    before, elsewhere = (6.0 - 0.07, 2.3), (6.0 - 0.07, 2.6)
    assert fix_by_touch(known(robot, pose, (EAST,), 0.08, met=[elsewhere]), AHEAD)
    assert not fix_by_touch(known(robot, pose, (EAST,), 0.08, met=[before]), AHEAD)
    assert fix_by_touch(known(robot, pose._replace(x=pose.x + 0.08), (EAST,), 0.08, met=[before]), AHEAD)


@pytest.mark.parametrize("off", [-0.06, -0.02, 0.03])
def test_pushing_at_a_wall_it_stands_against_it(robot, off):
    """It is corrected across the wall for the most part, and not along it."""
    robot_knows = known(robot, Pose(6.0 - FRONT + off, 2.0, 0.0), (EAST,))
    assert fix_by_touch(robot_knows, AHEAD)
    found = robot_knows.filter
    assert abs(found.x - (6.0 - FRONT)) < 0.5 * abs(off) + 0.005
    assert found.y == pytest.approx(2.0, abs=0.005)
    assert found.sigmas[0] < 0.035 < found.sigmas[1]
    assert [kind for kind, _ in robot_knows.notes] == ["touched"]


@pytest.mark.parametrize(
    ("pose", "walls", "jammed"),
    [
        (Pose(5.77, 2.0, 0.0), (EAST,), BACK),
        (Pose(5.60, 2.0, 0.0), (EAST,), AHEAD),
        (Pose(2.79, 2.0, 0.0), JAMBS, AHEAD),
        (Pose(5.77, 2.0, 0.0), (), AHEAD),
    ],
    ids=["away from it", "too far off", "one jamb or the other", "no wall, only the end of the field"],
)
def test_where_it_is_not_plain_which_wall_it_is_nothing_changes(robot, pose, walls, jammed):
    robot_knows = known(robot, pose, walls)
    assert not fix_by_touch(robot_knows, jammed)
    assert robot_knows.filter.pose == pose
    assert not robot_knows.notes


def test_the_end_of_a_wall_that_is_nearer_may_be_what_was_touched_and_not_the_wall_behind(robot):
    """In a doorway, aslant: the robot was taken to stand 11 cm off, against the wall on the other side of it."""
    partition, side = ((3.0, 1.2), (6.0, 1.2)), ((2.6, 0.0), (2.6, 4.0))
    pose = Pose(2.88, 0.95, math.radians(110.0))
    assert fix_by_touch(known(robot, pose, (side,), 0.08), AHEAD)
    assert not fix_by_touch(known(robot, pose, (side, partition), 0.08), AHEAD)


@pytest.mark.parametrize(("turn", "off"), [(0.5, -0.04), (-0.5, -0.04)])
def test_a_turn_is_ended_by_the_wall_beside(robot, turn, off):
    """Heading north and turned a little, along the wall to the east: a corner of body or jaws is what touches."""
    heading = math.pi / 2
    robot_knows = known(robot, Pose(5.81 + off, 2.0, heading), (EAST,))
    gap = robot_knows.space.gap(robot_knows.space.outlines[0], robot_knows.pose, Barrier(*EAST, "wall"))
    assert fix_by_touch(robot_knows, Piece(angle=turn))
    moved = robot_knows.filter.pose
    assert robot_knows.space.gap(robot_knows.space.outlines[0], moved, Barrier(*EAST, "wall")) < 0.6 * gap


@pytest.mark.parametrize("turn", [0.9, -0.9])
def test_whichever_corner_ran_into_a_wall_in_a_turn_that_may_be_what_was_touched(robot, turn):
    """Heading away from the wall to the north: the rear corner on the inner side is at the top of its circle. Where
    only those that lead with a long side were thought of, the wall was entered as things before them."""
    robot_knows = known(robot, Pose(3.0, 3.78, math.copysign(0.9, -turn)), (EDGES[2],))
    robot_knows.explored = SimpleNamespace(holds=lambda _: True)
    places = Touch(robot_knows, turn).places
    assert max(y for _, y in places) > 3.9
    assert len({(round(x, 3), round(y, 3)) for x, y in places}) == len(places)


@pytest.mark.parametrize("turn", [0.9, -0.9])
def test_what_a_turn_runs_into_is_what_was_touched_there_before(robot, turn):
    """Though the ground before that corner had been taken for free, and that before the others not."""
    robot_knows = known(robot, Pose(3.0, 2.0, 0.0), ())
    robot_knows.explored = SimpleNamespace(holds=lambda _: False)
    places = Touch(robot_knows, turn).places
    assert len(places) > 2
    again = places[-1]
    robot_knows = known(robot, Pose(3.0, 2.0, 0.0), (), met=[again])
    robot_knows.explored = SimpleNamespace(holds=lambda place: math.dist(place, again) < 0.01)
    touch = Touch(robot_knows, turn)
    assert again in touch.places
    assert len(touch.places) < len(places)
    touch.enter(robot_knows)
    assert {(one.x, one.y) for one in robot_knows.ledger.obstacles.now(0)} >= {again}


def test_with_a_load_a_jamb_that_is_touched_ends_the_way(doing, jar):
    """It stands nearer than on the map. With a load no wall is heard, and this one would be touched again."""
    jambs = {"low": [["4.4 m", "0 m"], ["4.4 m", "1.8 m"]], "high": [["4.4 m", "2.2 m"], ["4.4 m", "4 m"]]}
    nearer = [{"x": "4.38 m", "y": "1.88 m", "radius": "2 cm"}]
    grip = [("stand_still", {}), ("close_in", {}), ("close_jaws", {}), ("record_find", {})]
    home = ("drive_to", {"place": ["5 m", "2 m"]})
    did = doing(*grip, home, objects=[jar(3.5, 2.0)], field={"walls": jambs}, obstacles=nearer)
    assert did.why == "touched a wall, and knows no better where it stands"
    assert did.run.truth.bumps == 1
