"""The pose filter on real odometry: the data sets Plaza1 and Plaza2 that the package gtsam carries.

J. Djugash, B. Hamner, S. Roth, "Navigating with Ranging Radios: Five Data Sets with Ground Truth", J. Field Robotics 26
(2009). Their files are read where that package is installed; what they can prove and what not says
`tools/benchmarks/real_odometry.py`, which prints the whole table.
"""

import importlib
import importlib.util
import math
from pathlib import Path

import numpy as np
import pytest

pytestmark = pytest.mark.skipif(
    importlib.util.find_spec("gtsam") is None,
    reason="needs the data sets of the package gtsam: pip install -e '.[dev]'",
)


@pytest.fixture
def real(monkeypatch):
    monkeypatch.syspath_prepend(str(Path(__file__).parents[2] / "tools" / "benchmarks"))
    return importlib.import_module("real_odometry")


def apart(some, others):
    """Return the distances (m) between places of the same time."""
    return np.hypot(*(some[:, :2] - others[:, :2]).T)


def pooled(real, course, noise):
    return real.judged([one for length in real.LENGTHS for one in real.fixes(course, length, noise)])


def test_dead_reckoning_is_the_authors_own(real):
    """Not the truth: that is up to 72 m off. A step that takes the heading of its beginning would be 0.44 m off."""
    course = real.course(2)
    assert abs(course.ways).sum() == pytest.approx(1353.97, abs=0.01)
    found = real.integrated(course.authors[0], course)
    assert apart(found, course.authors).max() < 0.07
    late = course._replace(turns=np.append(course.turns[1:], 0.0))
    assert apart(real.integrated(course.authors[0], late), course.authors).max() > 0.2


def test_a_drive_of_1861_m_ends_4_5_m_from_the_truth(real):
    course = real.course(1)
    assert abs(course.ways).sum() == pytest.approx(1861.28, abs=0.01)
    errors = apart(real.integrated(course.truth[0], course), course.truth)
    assert errors.max() < 4.5
    assert np.sqrt((errors**2).mean()) < 1.95


def test_what_the_data_cannot_prove(real):
    """Half of each is its own ground truth's: Plaza1's changes of heading, and Plaza2's distances."""
    first, second = real.course(1), real.course(2)
    turned = np.diff(np.unwrap(first.truth[:, 2]))
    assert abs(turned - first.turns).max() < 1e-12
    gone = np.hypot(*np.diff(second.truth[:, :2], axis=0).T)
    assert np.sqrt(((gone - second.ways) ** 2).mean()) < 2e-4
    bias, scale = real.gyro_errors(second)
    assert (math.degrees(bias), scale) == (pytest.approx(0.40, abs=0.01), pytest.approx(0.015, abs=0.001))


def test_noise_fitted_on_one_drive_holds_on_the_other(real):
    """95 % are due inside, and a median of 1.39; lengths from 10 to 200 m together."""
    for course in (real.course(1), real.calibrated(real.course(2))):
        one = pooled(real, course, real.FITTED)
        assert 0.88 <= one.inside <= 0.98
        assert 0.3 <= one.median <= 2.1
        assert pooled(real, course, real.Noise(real.FITTED.growth / 8.0, real.FITTED.turning)).inside < 0.85


def test_a_gyro_with_a_bias_of_which_the_filter_does_not_know_is_not_believed_silently(real):
    """As it is, Plaza2's heading goes 0.4 deg/s astray: the gate refuses what is true, which is seen at least."""
    as_it_is = real.judged(real.fixes(real.course(2), 10.0, real.FITTED))
    assert as_it_is.refused > 0.9 * as_it_is.number


@pytest.mark.parametrize(("number", "bias", "share"), [(1, 2.79, 0.4), (2, 2.93, 0.2)])
def test_the_gate_speaks_where_ranges_have_a_bias(real, number, bias, share):
    """1 % is refused of what has the noise that is assumed."""
    heard = real.ranges(number)
    off = heard.measured - heard.true
    assert off.mean() == pytest.approx(bias, abs=0.02)
    assert real.refused(heard, float(off.std())) > share
    assert real.refused(heard._replace(measured=heard.measured - off.mean()), float(off.std())) < 0.01
