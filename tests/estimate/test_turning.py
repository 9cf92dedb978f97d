"""Turn rates, integrated over the time of the counts they belong to, whenever either comes."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate

from rover.estimate.covariance import Errors
from rover.estimate.pose import PoseFilter
from rover.estimate.turning import LASTS_NS, TELLS_FOR, TurnRates
from rover.geometry import Pose

MS = 1_000_000
rates = st.lists(st.floats(-2.0, 2.0), min_size=3, max_size=12)


def told(values, every_ns=50 * MS):
    turn_rates = TurnRates()
    for number, value in enumerate(values):
        turn_rates.take(value, number * every_ns, 0)
    return turn_rates


@given(rates, st.integers(0, 500), st.integers(1, 250))
def test_a_turn_is_the_integral_of_the_lines_between_the_rates(values, begun_ms, lasts_ms):
    """By numpy's trapezoid over a fine grid; after the last the last is held."""
    end_ms = min(begun_ms + lasts_ms, 50 * (len(values) - 1) + LASTS_NS // MS)
    begun_ms = min(begun_ms, end_ms - 1)
    grid = np.linspace(begun_ms, end_ms, 4001)
    expected = integrate.trapezoid(np.interp(grid, 50.0 * np.arange(len(values)), values), grid) * 1e-3
    assert told(values).turn(end_ms * MS, (end_ms - begun_ms) * 1e-3) == pytest.approx(expected, abs=1e-4)


@given(rates, st.integers(0, 160))
def test_counts_in_time_and_late_ones_turn_by_the_same(values, late_ms):
    """What the last rate missed while it was held is made good by the next."""
    heading = [turned(values, late * MS) for late in (0, late_ms)]
    assert heading[0] == pytest.approx(heading[1], abs=1e-9)


def turned(values, late_ns):
    """Return the heading after rates every 50 ms and counts every 20 ms that come so late; at last the robot stands."""
    errors = Errors(start=(0.0, 0.0, 0.1), growth=3e-4, heading_noise=0.03, heading_bias=0.02)
    pose_filter = PoseFilter(Pose(0.0, 0.0, 0.0), 0.36, errors)
    values = [*values, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0]
    come = [(n * 50 * MS, 1, value) for n, value in enumerate(values)]
    come += [(taken + late_ns, 0, taken) for taken in range(20 * MS, (len(values) * 50 - 100) * MS, 20 * MS)]
    for come_ns, is_rate, what in sorted(come):
        if is_rate:
            pose_filter.see_rate(what, come_ns)
        else:
            pose_filter.drive(0.0, 0.0, 0.02, what)
    return pose_filter.heading


def test_without_one_of_before_one_rate_is_not_enough_for_long():
    turn_rates = told([1.0])
    assert turn_rates.tell(100 * MS, TELLS_FOR)
    assert not turn_rates.tell(100 * MS, TELLS_FOR + 0.1)


def test_a_gap_in_the_counts_is_turned_through_by_the_rates():
    turn_rates = told([1.0] * 15)
    assert turn_rates.tell(700 * MS, 0.6)
    assert turn_rates.turn(700 * MS, 0.6) == pytest.approx(0.6)


def test_a_rate_is_used_for_a_while_and_not_for_longer():
    turn_rates = told([1.0])
    assert turn_rates.tell(LASTS_NS)
    assert not turn_rates.tell(LASTS_NS + 1)


def test_what_came_before_a_gap_in_the_rates_tells_nothing_of_what_came_after():
    turn_rates = told([1.0, 1.0])
    turn_rates.take(0.0, 600 * MS, 0)
    assert not turn_rates.tell(500 * MS)
