"""The filter's odometry (midpoint form) and its variance against a textbook, a course's exercise and arithmetic.

The textbook: R. Siegwart, I. Nourbakhsh, "Introduction to Autonomous Mobile Robots", 2004, the section on odometry in
chapter 5; not opened: the formulas are those of public programs that quote it and agree.

The cross terms of its covariance are not held against: this filter takes the heading's growth from the turn-rate sensor
or from the turn, not from two independent wheels. The growth along the way is the textbook's.
"""

import math

import pytest

from rover.estimate.covariance import SCALE_SIGMA, SIDEWAYS_SHARE, Errors
from rover.estimate.pose import PoseFilter
from rover.geometry import Pose

SURE = Errors(start=(0.0, 0.0, 0.0), growth=1e-3, heading_noise=0.03, heading_bias=0.0)
STEP_NS = 20_000_000


def driven(start, track, legs):
    """Return the filter after legs of (left, right) travel in m, each one counts reading."""
    pose_filter = PoseFilter(start, track, SURE)
    for index, (left, right) in enumerate(legs, 1):
        pose_filter.drive(left, right, STEP_NS * 1e-9, index * STEP_NS)
    return pose_filter


# The textbook's midpoint form, x' = x + ds cos(theta + dtheta / 2); the numbers derived from it with plain arithmetic.
@pytest.mark.parametrize(
    ("left", "right", "track", "pose"),
    [
        (0.10, 0.12, 0.30, (0.1099388945, 0.0036659877, 0.0666666667)),
        (0.40, 0.60, 0.50, (0.4900332889, 0.0993346654, 0.4)),
        (0.9, 1.1, 0.2, (0.8775825619, 0.4794255386, 1.0)),
        (0.8 * math.pi / 2, 1.2 * math.pi / 2, 0.4, (1.1107207345, 1.1107207345, math.pi / 2)),
        (-0.1, 0.1, 0.2, (0.0, 0.0, 1.0)),
    ],
)
def test_one_step(left, right, track, pose):
    assert driven(Pose(0.0, 0.0, 0.0), track, [(left, right)]).pose == pytest.approx(pose, abs=1e-9)


# The exact arc, derived with plain arithmetic; the first row computed, too, as the exponential of the twist with scipy
# 1.17.1, the third with gtsam 4.3.0. In steps as small as the robot's the midpoint form comes to it.
@pytest.mark.parametrize(
    ("left", "right", "track", "pose"),
    [
        (0.10, 0.12, 0.30, (0.1099185366, 0.0036653088, 0.0666666667)),
        (0.40, 0.60, 0.50, (0.4867729279, 0.0986737575, 0.4)),
        (0.9, 1.1, 0.2, (0.8414709848, 0.4596976941, 1.0)),
        (0.8 * math.pi / 2, 1.2 * math.pi / 2, 0.4, (1.0, 1.0, math.pi / 2)),
    ],
)
def test_an_arc_in_small_steps(left, right, track, pose):
    legs = [(left / 1000, right / 1000)] * 1000
    assert driven(Pose(0.0, 0.0, 0.0), track, legs).pose == pytest.approx(pose, abs=1e-6)


# The exercise "differential drive" that university courses set: start (1.5, 2.0, pi/2), l = 0.5 m. Its statement was
# seen in several public solutions; the answers were derived, the last leg computed with gtsam 4.3.0, too.
@pytest.mark.parametrize(
    ("legs_done", "pose"),
    [
        (1, (1.5, 2.9, 1.5707963)),
        (2, (1.5, 2.9, 1.1707963)),
        (3, (1.6396758, 3.0356552, 0.3707963)),
    ],
)
def test_the_course_exercise(legs_done, pose):
    speeds_and_times = [(0.3, 0.3, 3.0), (0.1, -0.1, 1.0), (0.2, 0.0, 2.0)][:legs_done]
    legs = [(left * time / 2000, right * time / 2000) for left, right, time in speeds_and_times for _ in range(2000)]
    assert driven(Pose(1.5, 2.0, math.pi / 2), 0.5, legs).pose == pytest.approx(pose, abs=1e-6)


# Closed form for 1 m straight in 1000 steps, xx = k S / 2 = 5.000e-4: derived from the textbook's matrices, which four
# independent public programs give alike.
def test_growth_of_variance_along_a_straight_way():
    pose_filter = driven(Pose(0.0, 0.0, 0.0), 0.3, [(0.001, 0.001)] * 1000)
    xx, _, _, yy, _, _ = pose_filter.covariance(1000 * STEP_NS)
    assert xx - SCALE_SIGMA**2 == pytest.approx(5.000e-4, rel=1e-3)
    assert yy == pytest.approx(SIDEWAYS_SHARE * 5.000e-4, rel=1e-3)


def test_growth_does_not_depend_on_how_the_way_is_cut():
    ways = [driven(Pose(0.0, 0.0, 0.5), 0.3, [(1.0 / count, 1.0 / count)] * count) for count in (10, 1000)]
    coarse, fine = (pose_filter.covariance(0) for pose_filter in ways)
    assert coarse == pytest.approx(fine, rel=1e-6)
