"""The filter's heading update against an outside extended Kalman filter, computed values and quantiles."""

import math

import numpy as np
import pytest
from filterpy.kalman import ExtendedKalmanFilter
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import chi2

from rover.estimate.covariance import CHI_SQUARE_1_99, HEADING, Errors
from rover.estimate.pose import PoseFilter
from rover.estimate.turning import RATE_VARIANCE, TELLS_FOR
from rover.geometry import Pose
from rover.quantities import wrap

DEGREE = math.pi / 180.0
STEP_NS = 20_000_000


def matrix(pose_filter, now_ns):
    xx, xy, xt, yy, yt, tt = pose_filter.covariance(now_ns)
    return np.array([[xx, xy, xt], [xy, yy, yt], [xt, yt, tt]])


def reference(pose_filter, now_ns, noise):
    """Return filterpy's filter with the same estimate."""
    other = ExtendedKalmanFilter(dim_x=3, dim_z=1)
    other.x = np.array([[part] for part in pose_filter.pose])
    other.P = matrix(pose_filter, now_ns)
    other.R = np.array([[noise**2]])
    return other


def residual(a, b):
    return np.array([[math.remainder(float(a[0, 0] - b[0, 0]), math.tau)]])


def update(other, angle):
    other.update(
        np.array([[angle]]),
        HJacobian=lambda x: np.array([[0.0, 0.0, 1.0]]),
        Hx=lambda x: np.array([[float(x[2, 0])]]),
        residual=residual,
    )


def see(pose_filter, angle, noise):
    """Correct by an absolute heading that has no bias: the update that `see_heading` builds on."""
    return pose_filter.correct(((HEADING, 1.0),), wrap(angle - pose_filter.heading), noise**2)


wheel = st.floats(-0.01, 0.012)


# Against `filterpy.kalman.ExtendedKalmanFilter.update(z, HJacobian, Hx, residual=...)`.
@given(
    legs=st.lists(st.tuples(wheel, wheel), min_size=1, max_size=40),
    heading=st.floats(-math.pi, math.pi),
    share=st.floats(-2.0, 2.0),
)
def test_a_heading_update_is_that_of_filterpy(legs, heading, share):
    """Also across the turn from pi to minus pi, since the heading is anywhere."""
    noise = 2.0 * DEGREE
    pose_filter = PoseFilter(Pose(1.0, 2.0, heading), 0.36, Errors((0.02, 0.03, 0.05), 1e-3, noise, 0.0))
    for index, (left, right) in enumerate(legs, 1):
        pose_filter.drive(left, right, 0.02, index * STEP_NS)
    now_ns = len(legs) * STEP_NS
    other = reference(pose_filter, now_ns, noise)
    angle = math.remainder(pose_filter.heading + share * math.hypot(noise, pose_filter.sigmas[2]), math.tau)
    update(other, angle)
    assert see(pose_filter, angle, noise)
    x, y, turned = (float(part) for part in other.x[:, 0])
    assert pose_filter.pose[:2] == pytest.approx((x, y), abs=1e-9)
    assert math.remainder(pose_filter.heading - turned, math.tau) == pytest.approx(0.0, abs=1e-9)
    assert matrix(pose_filter, now_ns) == pytest.approx(other.P, abs=1e-12)


# Prior 179 deg (sigma 5), reading -179 deg (sigma 2): computed with filterpy 2.0.0, whose filter gives -129.62 deg
# where the innovation is not wrapped.
def test_across_the_turn():
    pose_filter = facing(179.0 * DEGREE, 5.0 * DEGREE)
    assert see(pose_filter, -179.0 * DEGREE, 2.0 * DEGREE)
    assert pose_filter.heading / DEGREE == pytest.approx(-179.2759, abs=1e-4)
    assert pose_filter.sigmas[2] / DEGREE == pytest.approx(1.856953, abs=1e-6)


def test_a_heading_reading_takes_the_short_way_across_the_turn():
    pose_filter = facing(179.0 * DEGREE, 5.0 * DEGREE)
    assert pose_filter.see_heading(-179.0 * DEGREE, None, 0)
    assert 179.5 < math.degrees(pose_filter.heading) % 360.0 < 181.0


def facing(heading, sigma):
    return PoseFilter(Pose(0.0, 0.0, heading), 0.36, Errors((0.0, 0.0, sigma), 1e-3, 2.0 * DEGREE, 0.0, 0.0))


# q = 0.25 deg^2 a step, r = 4 deg^2: computed with `dare` of control 0.10.2.
def test_the_steady_state():
    pose_filter = facing(0.0, 0.1)
    pose_filter.see_heading(math.pi, 0.0, 0)  # the gate refuses the angle; the turn rate is taken over
    seconds = 0.25 * DEGREE**2 / RATE_VARIANCE
    parts = math.ceil(seconds / TELLS_FOR)  # one turn rate is not enough for a longer time than that
    for _ in range(200):
        see(pose_filter, 0.0, 2.0 * DEGREE)
        posterior = pose_filter.sigmas[2]
        for _ in range(parts):
            pose_filter.drive(0.0, 0.0, seconds / parts, 0)
    assert (posterior / DEGREE) ** 2 == pytest.approx(0.8827822, abs=1e-6)
    assert matrix(pose_filter, 0)[2, 2] / DEGREE**2 == pytest.approx(1.1327822, abs=1e-6)


def test_the_gate_is_the_99_percent_quantile():
    assert pytest.approx(float(chi2.ppf(0.99, 1)), abs=1e-4) == CHI_SQUARE_1_99


@pytest.mark.parametrize(("share", "passes"), [(0.999, True), (-0.999, True), (1.001, False), (-1.001, False)])
def test_the_gate_opens_just_there(share, passes):
    innovation = share * math.sqrt(6.6349 * (9.0 + 4.0)) * DEGREE
    assert see(facing(0.0, 3.0 * DEGREE), innovation, 2.0 * DEGREE) is passes
