"""A rehearsal without one of the safeguards: null parts, and what each of them does not do."""

import math
from dataclasses import replace
from pathlib import Path

import pytest

from rover.behaviour.model import AT_ONCE
from rover.core.targeting import TargetChoice
from rover.estimate.covariance import HEADING, Errors, X
from rover.estimate.pose import PoseFilter
from rover.files.given import Given
from rover.geometry import Pose
from rover.session.assembly import assemble
from rover.session.without import SAFEGUARDS, WithoutCommitment, WithoutFixes, WithoutSlipGate, left_out
from rover.trials.trial import Trial, run_trial
from rover.vision.targets import FieldOfView, Remembered, TargetMemory

GREENHOUSE = Path(__file__).parents[2] / "config/greenhouse.yaml"
ERRORS = Errors((0.02, 0.02, math.radians(3.0)), 1e-4, math.radians(2.0), math.radians(2.0))


def made(kind: type[PoseFilter]) -> PoseFilter:
    return kind(Pose(0.0, 0.0, 0.0), 0.36, ERRORS)


def test_without_fixes_a_wall_moves_nothing_and_a_heading_still_turns() -> None:
    filters = made(PoseFilter), made(WithoutFixes)
    assert all(one.hear("wall", ((X, 1.0), (HEADING, 0.1)), 0.03, 1e-4) for one in filters)
    assert [one.x > 0.0 for one in filters] == [True, False]
    assert all(one.hear("heading", ((HEADING, 1.0),), 0.03, 1e-4) for one in filters)
    assert [one.heading > 0.0 for one in filters] == [True, True]


def test_without_the_slip_gate_wheels_are_believed() -> None:
    travel = [one.without_slip(0.05, 0.01, 0.0, 0.02) for one in (made(PoseFilter), made(WithoutSlipGate))]
    assert travel == [pytest.approx((0.01, 0.01)), (0.05, 0.01)]


def test_without_confirmation_one_sample_is_enough_everywhere() -> None:
    with_all = assemble(GREENHOUSE, {})
    without, _ = left_out("confirmation", with_all)
    assert any(one.confirm != AT_ONCE for one in with_all.graph.exits())
    assert [replace(one, confirm=AT_ONCE) for one in with_all.graph.exits()] == list(without.graph.exits())


def test_without_tries_nothing_is_diverted() -> None:
    with_all = assemble(GREENHOUSE, {})
    without, _ = left_out("tries", with_all)
    assert any(state.at_most for state in with_all.graph.states.values())
    assert not any(state.at_most or state.diversion for state in without.graph.states.values())
    assert without.graph.states.keys() == with_all.graph.states.keys()


def test_with_nothing_left_out_all_is_as_ever() -> None:
    with_all = assemble(GREENHOUSE, {})
    assert left_out("", with_all) == (with_all, SAFEGUARDS[""].parts)


def test_without_commitment_the_best_of_each_frame_is_the_target() -> None:
    memory = TargetMemory(FieldOfView(0.0, 1.0, 3.0, 0.1))
    near, nearer = (
        Remembered(number, "amber", x, 0.0, 1e-4, 0.0, 1e-4, sightings=9) for number, x in ((1, 1.0), (2, 0.9))
    )
    memory.objects += [near, nearer]
    memory.chosen = near
    assert TargetChoice(memory).choose(Pose(0.0, 0.0, 0.0), None) is None
    assert WithoutCommitment(memory).choose(Pose(0.0, 0.0, 0.0), None) is nearer


@pytest.mark.parametrize("name", ["fixes", "slip_gate", "confirmation"])
def test_a_rehearsal_without_it_decides_otherwise(name: str) -> None:
    brief = Trial(1, "", GREENHOUSE, 1, Given({"longest": "90 s"}))
    assert run_trial(replace(brief, without=name)).digest != run_trial(brief).digest
