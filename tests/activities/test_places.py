"""Which slot of the tray is filled next, and what bars the way to all of them."""

import math

import pytest

from rover.activities.places import barring_tray, gate_before, slots_to_fill
from rover.activities.registry import ACTIVITIES
from rover.core import Core
from rover.errand.entries import Filled
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
