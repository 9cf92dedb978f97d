"""From where an object is looked at, before it is said to be out of reach."""

import math

import pytest

from rover.activities.approaching import viewpoints
from rover.activities.registry import ACTIVITIES
from rover.core import Core
from rover.files.given import Given
from rover.geometry import cross
from rover.session.assembly import assemble
from rover.vision.targets import Remembered
from tests.core.conftest import ROOT

SCREEN = ((3.0, 1.4), (3.0, 2.6))


@pytest.fixture
def known():
    """What a robot knows in the greenhouse's bay, in which a screen stands that can be gone round."""
    walls = {"screen": [[f"{value} m" for value in end] for end in SCREEN]}
    made = assemble(ROOT / "config" / "greenhouse.yaml", {}, given=Given({"errand.field.walls": walls}))
    return Core(made.robot, made.errand, made.graph, ACTIVITIES, 1).known


def test_not_from_the_other_side_of_a_wall(known):
    target = Remembered(1, "amber", 3.2, 2.0, 1e-4, 0.0, 1e-4, sightings=9)
    goals = viewpoints(known, target)
    assert goals
    for one in goals:
        assert not cross((one.x, one.y), (target.x, target.y), *SCREEN)
        assert math.atan2(target.y - one.y, target.x - one.x) == pytest.approx(math.remainder(one.heading, math.tau))
