"""How a field lies before its robot, and what follows from the files' numbers; each from its definition."""

import math
from pathlib import Path

import pytest

from rover.feasibility.layout import Layout, body_at, layout_of
from rover.feasibility.views import outline_of_view
from rover.readiness.files import check_file
from rover.session.assembly import assemble
from tests.feasibility.conftest import ERRAND, NORTH, PLACES, ROBOT, edit, wall


def laid_out() -> Layout:
    assembly = assemble(Path(ERRAND), {})
    return layout_of(assembly.errand, assembly.robot)


def facts() -> str:
    return "\n".join(check_file(Path(ERRAND)).lines)


def test_the_gate_stands_so_far_before_the_tray_that_the_jaws_are_outside(project: Path) -> None:
    layout = laid_out()
    gate = layout.gates[layout.ground.slots[0]]
    assert gate.heading == pytest.approx(math.pi)
    jaws = gate.x - layout.robot.body.gripper_reach
    assert jaws == pytest.approx(0.75 + 0.6 + 0.12)  # the tray's east side, and `places.GATE_CLEAR`
    assert gate.y == pytest.approx(layout.ground.slots[0].y)


def test_a_slot_behind_a_partition_has_no_gate(project: Path) -> None:
    edit(project, {ERRAND: {NORTH: wall("[[50 cm, 0 m], [50 cm, 50 cm]]")}})
    layout = laid_out()
    behind = {slot for slot in layout.ground.slots if slot.x < 0.5 + 0.03 and slot.y < 0.5}
    assert behind
    assert behind <= set(layout.barred)
    assert set(layout.barred.values()) == {"wall"}
    assert not set(layout.gates) & set(layout.barred)


def test_what_is_seen_from_no_lookout_in_reach_is_known(project: Path) -> None:
    lookouts = "  lookouts: [[2 m, 2 m], [5.5 m, 2 m]]\n"
    edit(project, {ERRAND: {NORTH: wall("[[4 m, 0 m], [4 m, 4 m]]"), PLACES: lookouts + PLACES}})
    outlook = laid_out().outlook
    assert outlook is not None
    assert outlook.lookouts == ((2.0, 2.0),)
    assert {(x, y) for x, y in outlook.unseen if x > 4.1}
    assert all(math.dist(place, (2.0, 2.0)) > 1.0 for place in outlook.unseen if place[0] < 4.0)


def test_a_view_ends_at_a_wall_and_at_the_farthest_sight(project: Path) -> None:
    corners = outline_of_view(laid_out().ground, (5.0, 2.0), 1.5)
    assert max(x for x, _ in corners) == pytest.approx(6.0)
    assert min(x for x, _ in corners) == pytest.approx(3.5)


def test_the_body_is_drawn_where_it_stands(project: Path) -> None:
    layout = laid_out()
    body, jaws = body_at(layout, layout.start, loaded=False)
    assert min(x for x, _ in body) == pytest.approx(2.0 - 0.12)
    assert max(y for _, y in body) == pytest.approx(0.6 + 0.13)
    assert max(x for x, _ in jaws) == pytest.approx(2.0 + 0.16 + 0.03)


def test_the_facts_are_those_of_the_numbers(project: Path) -> None:
    said = facts()
    assert f"a count is {math.pi * 72.0 / 1320.0:.3f} mm" in said
    assert "the robot stops within 14 cm" in said  # 0.4 m/s for 0.14 s, and 0.4^2 / 2 m
    assert "the field is 24 m^2, of which the body can come to 100%" in said
    half = math.atan(math.tan(math.radians(30.0)) * 480.0 / 640.0)
    near = 22.0 / math.tan(math.radians(15.0) + half)
    assert f"the camera sees the ground from {near:.0f} cm to 2.5 m" in said
    assert "the tray has 25 slots" in said
    assert "one look round takes 14 s, in 8 views" in said


@pytest.mark.parametrize(
    ("file", "old", "new", "said"),
    [
        (
            ROBOT,
            "counts_per_rev: 1320",
            "counts_per_rev: 10",
            "a count is 22.6 mm; at 50 Hz counts tell speeds from 9 cm/s",
        ),
        (ROBOT, "deceleration: 1.0 m/s^2", "deceleration: 20 cm/s^2", "the robot stops within 46 cm"),
        (ROBOT, "field_of_view: 60 deg", "field_of_view: 120 deg", "in 4 views"),
        (ERRAND, "order: nearest", "order: nearest\nexpect: 4", "for the 4 objects expected"),
        (
            "config/bay.yaml",
            "scatter: {amber: 3, teal: 3, violet: 3}",
            "scatter: {amber: 2}",
            "for the 2 objects of the bench",
        ),
        (ERRAND, "  bench: bay.yaml\n", "", "for 25 objects, one in every slot"),
    ],
)
def test_another_number_gives_another_fact(file: str, old: str, new: str, said: str, project: Path) -> None:
    edit(project, {file: {old: new}})
    assert said in facts()


def test_the_estimate_of_the_demo_is_about_what_its_rehearsals_take(project: Path) -> None:
    assert "the errand takes about 9 min for the 9 objects of the bench" in facts()
