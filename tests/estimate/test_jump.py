"""Who takes a jump of the angle: by scipy's distributions, and at the ends."""

import math

import pytest
from scipy import stats

from rover.estimate.jump import SENSOR_JUMPS, TURNED_THOUGH_TOLD, turned_share

DEGREE = math.pi / 180.0


@pytest.mark.parametrize("jump", [0.0, 4.0, -10.0, 25.0])
def test_it_is_the_rule_of_bayes(jump):
    bias = 6.0 * DEGREE
    as_turned = TURNED_THOUGH_TOLD * stats.uniform(-math.pi, math.tau).pdf(jump * DEGREE)
    as_error = (1.0 - TURNED_THOUGH_TOLD) * stats.norm(0.0, math.hypot(SENSOR_JUMPS, bias)).pdf(jump * DEGREE)
    share = turned_share(jump * DEGREE, bias, is_told=True)
    assert share == pytest.approx(as_turned / (as_turned + as_error))


def test_what_no_sensor_errs_by_is_a_turn_of_the_robot():
    assert turned_share(90.0 * DEGREE, 1.0 * DEGREE, is_told=True) == pytest.approx(1.0)


def test_a_small_one_is_the_sensors_and_the_more_so_where_a_rate_would_have_told():
    untold, told = (turned_share(5.0 * DEGREE, 1.0 * DEGREE, is_told=is_told) for is_told in (False, True))
    assert told < untold < 0.1
