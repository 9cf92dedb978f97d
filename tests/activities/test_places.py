"""Which slot of the tray is filled next, what bars the way to all of them, and what is driven round."""

import math

import pytest

from rover.activities.approaching import RUNS
from rover.activities.getting_free import backing_off
from rover.activities.places import barring_tray, clearance_from, gate_before, jaws_place, slots_to_fill
from rover.activities.ranging_walls import RangeWalls
from rover.activities.registry import ACTIVITIES
from rover.activities.travelling import RouteFollower
from rover.behaviour.vocabulary import Progress
from rover.core import Core
from rover.errand.entries import Filled
from rover.geometry import Pose
from rover.motion.goal import Goal
from rover.session.assembly import assemble
from rover.vision.targets import Remembered
from tests.core.conftest import ROOT


@pytest.fixture
def known():
    """What a robot knows in the greenhouse's bay; its tray is entered from the east."""
    made = assemble(ROOT / "config" / "greenhouse.yaml", {})
    return Core(made.robot, made.errand, made.graph, ACTIVITIES, 1).known


def put(known, *places, sigma=0.01):
    for number, (x, y) in enumerate(places):
        one = Remembered(number, "amber", x, y, sigma**2, 0.0, sigma**2, sightings=9)
        known.targets.objects.append(one)


def gates(known):
    slots, reach = known.ledger.free_slots, known.robot.body.gripper_reach
    return sorted({gate_before(known.ground, slot, reach)[:2] for slot in slots})


def test_with_nothing_about_they_are_filled_in_order(known):
    assert slots_to_fill(known) == known.ledger.free_slots
    assert barring_tray(known) == []


@pytest.mark.parametrize("behind", [0.0, 0.5, 1.02])
def test_one_whose_gate_is_taken_comes_after_one_whose_is_not(known, behind):
    """At the gate the body has its rear behind it, too, and leaves room: there, no way to the gate was found."""
    first, body = known.ledger.free_slots[0], known.robot.body
    x, y, _ = gate_before(known.ground, first, body.gripper_reach)
    put(known, (x + behind * 0.5 * math.hypot(body.length, body.width), y), sigma=0.045)
    assert abs(slots_to_fill(known)[0].y - first.y) > 0.1
    assert barring_tray(known) == []


def test_where_all_gates_are_taken_that_at_the_first_one_is_to_be_fetched(known):
    """Nothing else can be set down before: a load was brought, set down before the tray, and taken up again."""
    put(known, *gates(known), (4.0, 3.0))
    (barring,) = barring_tray(known)
    first = known.ledger.free_slots[0]
    assert barring.y == pytest.approx(gate_before(known.ground, first, known.robot.body.gripper_reach).y)


def test_what_is_seen_vaguely_from_afar_bars_nothing(known):
    put(known, *gates(known), sigma=0.3)
    assert barring_tray(known) == []


def test_a_full_tray_is_barred_by_nothing(known):
    put(known, *gates(known))
    known.ledger.filled += [Filled(slot, "amber") for slot in known.ledger.free_slots]
    assert barring_tray(known) == []


class TestTarget:
    """It is driven up to, and not over: a way to its far side, or to a wall behind it, pushed it along."""

    @pytest.fixture
    def target(self, known):
        known.pose = Pose(2.0, 2.0, 0.0)
        put(known, (3.0, 2.0))
        known.targets.chosen = known.targets.objects[0]
        return known.targets.chosen

    @pytest.mark.usefixtures("target")
    def test_no_way_leads_over_it(self, known):
        assert clearance_from(known, known.pose).along(known.pose, 2.0) is None

    @pytest.mark.usefixtures("target")
    @pytest.mark.parametrize("way", RUNS)
    def test_where_the_last_run_begins_is_free(self, known, way):
        short = 1.0 - known.robot.body.gripper_reach - way
        assert clearance_from(known, known.pose).along(known.pose, short) is not None

    def test_where_the_robot_could_not_turn_for_it_it_bars_nothing(self, known, target):
        """It is about to be gripped; from a jar in a corner the robot edged away, into the walls."""
        target.x = 2.0 + known.space.outlines[0].radius
        assert not clearance_from(known, known.pose).is_cramped
        assert clearance_from(known, known.pose).along(known.pose, 0.5) is not None

    def test_in_the_jaws_it_comes_along(self, known, target):
        target.x, target.y = jaws_place(known)
        known.ledger.carried = target.kind
        assert clearance_from(known, known.pose).along(known.pose, 1.0) is not None

    def test_one_that_stands_in_the_open_jaws_is_backed_off_from_first(self, known, target):
        """It was pushed along for 2.9 m, on the way to a wall by which the position was to be fixed."""
        target.x, target.y = jaws_place(known)
        ((piece,),) = backing_off(known)
        follower = RouteFollower(known, lambda _: [Goal(4.0, 2.0)], 0.3)
        assert follower.request(known).speed < 0.0
        known.pose = Pose(2.0 + piece.way, 2.0, 0.0)
        known.now_ns = 1
        requests = [follower.request(known) for _ in range(40)]
        assert not any(request.speed > 0.0 for request in requests)
        assert clearance_from(known, known.pose).can_turn(known.pose, math.pi)

    def test_with_a_wall_behind_it_is_not_backed_off_from(self, known, target):
        known.pose = Pose(0.25, 2.0, 0.0)
        target.x, target.y = jaws_place(known)
        assert backing_off(known) == []

    @pytest.mark.parametrize("sigma", [0.01, 0.3])
    def test_no_wall_is_ranged_to_with_one_in_the_open_jaws(self, known, target, sigma):
        (target.x, target.y), target.xx = jaws_place(known), sigma**2
        ranging = RangeWalls(known, {})
        assert (ranging.progress == Progress.FAILED) is (sigma < 0.1)
