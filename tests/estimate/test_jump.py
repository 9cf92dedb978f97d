"""Who takes a jump of the angle: by scipy's distributions, and at the ends."""

import math

import pytest
from scipy import stats

from rover.estimate.jump import ASTRAY, SENSOR_JUMPS, TURNED_THOUGH_TOLD, turned_share

DEGREE = math.pi / 180.0


@pytest.mark.parametrize("jump", [0.0, 4.0, -10.0, 25.0])
def test_it_is_the_rule_of_bayes(jump):
    bias = 6.0 * DEGREE
    anywhere = stats.uniform(-math.pi, math.tau).pdf(jump * DEGREE)
    as_turned, as_astray = TURNED_THOUGH_TOLD * anywhere, ASTRAY * anywhere
    as_error = (1.0 - TURNED_THOUGH_TOLD - ASTRAY) * stats.norm(0.0, math.hypot(SENSOR_JUMPS, bias)).pdf(jump * DEGREE)
    share = turned_share(jump * DEGREE, bias, is_told=True)
    assert share == pytest.approx(as_turned / (as_turned + as_astray + as_error))


def test_of_a_wide_one_nobody_knows_whose_it_is_where_a_rate_would_have_told_of_a_turn():
    assert turned_share(90.0 * DEGREE, 1.0 * DEGREE, is_told=True) == pytest.approx(0.5)
    assert turned_share(90.0 * DEGREE, 1.0 * DEGREE, is_told=False) > 0.8


def test_a_small_one_is_the_sensors_and_the_more_so_where_a_rate_would_have_told():
    untold, told = (turned_share(5.0 * DEGREE, 1.0 * DEGREE, is_told=is_told) for is_told in (False, True))
    assert told < untold < 0.1
