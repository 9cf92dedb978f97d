"""A heading that scatters more than its file says is noisy, and not wrong."""

import itertools
import math
from random import Random

import pytest

from rover.core.angle_noise import LEAST, MOST, AngleNoise
from rover.devices.readings import HeadingValue
from tests.core.rig import SPIN, STRAIGHT, Rig

STATED = math.radians(2.0)


@pytest.mark.parametrize("times", [0.3, 1.0, 1.8])
def test_it_is_found_from_how_far_angles_scatter_apart(times):
    noise, draws = AngleNoise(STATED), Random(2)
    angles = [draws.gauss(0.0, times * STATED) for _ in range(1000)]
    for one, next_one in itertools.pairwise(angles):
        noise.tell(next_one - one)
    assert noise.sigma == pytest.approx(times * STATED, rel=0.25)


@pytest.mark.parametrize(("apart", "bound"), [(0.0, LEAST), (1.0, MOST)])
def test_it_is_never_far_from_what_is_stated(apart, bound):
    noise = AngleNoise(STATED)
    for _ in range(2000):
        noise.tell(apart)
    assert noise.sigma == pytest.approx(bound * STATED, rel=0.01)


def test_one_jump_tells_next_to_nothing_of_it():
    noise = AngleNoise(STATED)
    noise.tell(math.pi)
    assert noise.sigma < 1.05 * STATED


def angle_alone(angle, rate):
    return HeadingValue(angle, None)


@pytest.mark.parametrize("told", [HeadingValue, angle_alone], ids=["with a rate", "angle alone"])
@pytest.mark.parametrize("degrees", [2.0, 2.6, 3.5])
def test_healthy_headings_are_not_doubted_for_their_noise(degrees, told):
    """Angle and rate were told apart at 14 deg, whatever was found of the noise: six of eight errands stopped."""
    rig = Rig(turns=told, noise=math.radians(degrees))
    for round_ in range(60):
        rig.drive(*STRAIGHT, 4.0).drive(0.0, 0.0, 2.0).drive(*(SPIN if round_ % 2 else SPIN[::-1]), 2.0)
    assert rig.verdict == "", rig.checks.why_stop or rig.checks.found


@pytest.mark.parametrize("degrees", [0.5, 1.5])
def test_a_jump_of_16_deg_still_shows_in_what_is_less_noisy(degrees):
    rig = Rig(noise=math.radians(degrees)).drive(*STRAIGHT, 10.0)
    rig.turns = lambda angle, rate: HeadingValue(angle + math.radians(16.0), rate)
    rig.drive(*STRAIGHT, 5.0)
    assert rig.verdict
