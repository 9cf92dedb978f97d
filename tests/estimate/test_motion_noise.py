"""The position's noise by motion is learned from how far off the walls are that are ranged to."""

import math
from random import Random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.estimate.covariance import Errors, Motion, X, Y
from rover.estimate.motion_noise import LEAST, MOST, STATED_FOR, MotionNoise
from rover.estimate.pose import PoseFilter
from rover.geometry import Pose

SCRUB, ECHO = 0.01, 0.006
ERRORS = Errors((0.001, 0.001, 0.001), 1e-4, 0.03, 0.02, turn_centre=(1e-6, 1e-6), centre_moves=0.0, scrub=SCRUB)


def scrubbed(variance):
    """Return a motion that made so much (m^2) of the position in all directions."""
    motion = Motion()
    motion.rolled.add_all_round(variance)
    return motion


def turned_and_ranged(times, fixes, seed=1, turns=4, stated=ECHO):
    """Return a filter whose robot was scrubbed aside by so many times the stated variance, and ranged after turns.

    It makes some half turns on the spot; then one wall ahead and one beside it tell where it stands, by one echo each
    that is said to be good to so much (m).
    """
    pose_filter, draws = PoseFilter(Pose(0.0, 0.0, 0.0), 0.36, ERRORS), Random(seed)
    true = [0.0, 0.0]
    for _ in range(fixes):
        for _ in range(turns):
            pose_filter.go(0.0, math.pi, 0.0, 1.0, 1_000_000_000)
        for state in (X, Y):
            true[state] += draws.gauss(0.0, math.sqrt(times * turns * math.pi) * SCRUB)
            heard = true[state] + draws.gauss(0.0, ECHO)
            pose_filter.propagate()
            pose_filter.hear("wall", ((state, 1.0),), heard - (pose_filter.x, pose_filter.y)[state], stated**2)
    return pose_filter


@pytest.mark.parametrize("times", [0.4, 1.0, 2.5])
def test_it_comes_to_be_what_it_is(times):
    factors = [turned_and_ranged(times, 40, seed)._motion_noise.factor for seed in range(12)]
    assert np.mean(factors) == pytest.approx(times, rel=0.25)


def test_where_echoes_are_better_than_is_said_that_is_not_the_motions():
    """One echo after turns that are all alike: nothing tells which of both makes less."""
    factors = [turned_and_ranged(1.0, 40, seed, turns=1, stated=0.025)._motion_noise.factor for seed in range(12)]
    assert np.mean(factors) > 0.8


def test_refused_echoes_tell_of_it_too():
    factors = [turned_and_ranged(8.0, 40, seed)._motion_noise.factor for seed in range(12)]
    assert np.mean(factors) > 4.0


def test_a_way_that_is_less_known_for_another_reason_is_none_of_it():
    """By one side's counts alone, say: that is bounded from above, and motion would seem to make less and less."""
    pose_filter = PoseFilter(Pose(0.0, 0.0, 0.0), 0.36, ERRORS)
    for step in range(40):
        pose_filter.drive_by_one(1.0, True, 1.0, (step + 1) * 1_000_000_000)
        pose_filter.propagate()
        pose_filter.hear("wall", ((X, 1.0),), 0.0, ECHO**2)
    assert pose_filter._motion_noise.factor == 1.0


def test_a_few_fixes_change_it_by_little():
    assert turned_and_ranged(0.3, 2)._motion_noise.factor > 0.7


@pytest.mark.parametrize(("innovation", "bound"), [(0.0, LEAST), (10.0, MOST)])
def test_it_is_never_far_from_what_is_stated(innovation, bound):
    noise = MotionNoise()
    for _ in range(400):
        noise.grow(scrubbed(2.0 * SCRUB**2))
        noise.learn((1.0, 0.0), innovation, 1e-3, 1e-5)
    assert noise.factor == bound


def test_what_was_unsure_before_the_robot_moved_is_not_the_motions():
    """A start known to 20 cm only, and found 1 mm off, says nothing of how the robot drives."""
    noise = MotionNoise()
    for _ in range(20):
        noise.grow(scrubbed(0.1 * SCRUB**2))
        noise.learn((1.0, 0.0), 0.001, 0.04, 1e-5)
    assert noise.factor > 0.99


def test_an_echo_that_corrects_nothing_tells_nothing():
    noise = MotionNoise()
    noise.grow(scrubbed(SCRUB**2))
    noise.learn((1.0, 0.0), 0.0, 1e-3, math.inf)
    assert (noise.factor, noise._learned) == (1.0, STATED_FOR)


shares = st.floats(-1.0, 1.0)


@given(
    along=st.floats(1e-6, 1e-2),
    angle=st.floats(-3.0, 3.0),
    slopes=st.tuples(shares, shares),
    gain=st.tuples(shares, shares),
)
def test_a_correction_leaves_of_it_what_it_leaves_of_a_covariance(along, angle, slopes, gain):
    noise, motion = MotionNoise(), Motion()
    motion.rolled.add_along(along, math.cos(angle), math.sin(angle))
    motion.rolled.add_all_round(0.3 * SCRUB**2)
    noise.grow(motion)
    made = noise._made
    before = np.array([[made.xx, made.xy], [made.xy, made.yy]])
    noise.correct(slopes, gain)
    left = np.eye(2) - np.outer(gain, slopes)
    after = left @ before @ left.T
    assert [made.xx, made.xy, made.yy] == pytest.approx([after[0, 0], after[0, 1], after[1, 1]], abs=1e-12)
