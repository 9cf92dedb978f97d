"""Cumulative counts -> travel, and what is refused."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.devices.readings import Reading, WheelCounts
from rover.estimate.odometry import Odometer

METRES, TOP_SPEED, STEP_NS = 0.0002, 0.6, 20_000_000


class Feeding:
    def __init__(self):
        self.odometer = Odometer(METRES, TOP_SPEED)
        self.sequence = 0

    def counts(self, left, right, at_s, boot=0):
        self.sequence += 1
        return self.odometer.travel(Reading(round(at_s * 1e9), self.sequence, WheelCounts(left, right, boot)))


@pytest.fixture
def feeding():
    made = Feeding()
    assert made.counts(1000, 2000, 1.0) is None
    return made


def test_travel_since_the_last_report(feeding):
    assert feeding.counts(1020, 1990, 1.02) == pytest.approx((20 * METRES, -10 * METRES, 0.02))
    assert (feeding.odometer.speed_left, feeding.odometer.speed_right) == pytest.approx((0.2, -0.1))


def test_a_lost_report_loses_no_way(feeding):
    feeding.counts(1020, 2020, 1.02)
    assert feeding.counts(1060, 2060, 1.06) == pytest.approx((40 * METRES, 40 * METRES, 0.04))


@pytest.mark.parametrize(("left", "right"), [(900, 0), (0, -900), (900, 900), (2**31, 0)])
def test_an_increment_that_no_wheel_can_make_is_refused_and_counted(feeding, left, right):
    assert feeding.counts(1000 + left, 2000 + right, 1.02) is None
    assert feeding.odometer.refused == 1
    assert feeding.odometer.speed_left == 0.0


def test_one_wrong_report_is_as_if_it_had_not_come(feeding):
    feeding.counts(5000, 2000, 1.02)
    assert feeding.counts(1020, 2020, 1.04) == pytest.approx((20 * METRES, 20 * METRES, 0.04))


def test_a_jump_that_a_second_report_confirms_is_believed_without_travel(feeding):
    feeding.counts(5000, 2000, 1.02)
    assert feeding.counts(5010, 2010, 1.04) is None
    assert feeding.counts(5020, 2020, 1.06) == pytest.approx((10 * METRES, 10 * METRES, 0.02))


def test_wrong_reports_that_do_not_confirm_each_other_never_count(feeding):
    for index, left in enumerate((9000, -7000, 3000, 12000), 1):
        assert feeding.counts(left, 2000, 1.0 + 0.02 * index) is None
    assert feeding.counts(1050, 2050, 1.1) == pytest.approx((50 * METRES, 50 * METRES, 0.1))


def test_a_restart_rebases_without_travel(feeding):
    assert feeding.counts(3, 4, 1.02, boot=1) is None
    assert feeding.odometer.refused == 0
    assert feeding.counts(13, 14, 1.04, boot=1) == pytest.approx((10 * METRES, 10 * METRES, 0.02))


@pytest.mark.parametrize("at_s", [1.0, 0.5, -1.0])
def test_time_that_stands_or_goes_back_is_refused_and_does_not_rebase(feeding, at_s):
    assert feeding.counts(1010, 2010, at_s) is None
    assert feeding.odometer.refused == 1
    assert feeding.counts(1020, 2020, 1.02) == pytest.approx((20 * METRES, 20 * METRES, 0.02))


@given(st.lists(st.tuples(st.integers(-50, 50), st.integers(-50, 50)), min_size=1, max_size=50))
def test_possible_increments_add_up(increments):
    feeding = Feeding()
    feeding.counts(0, 0, 1.0)
    left = right = 0
    total = [0.0, 0.0]
    for index, (more_left, more_right) in enumerate(increments, 1):
        left, right = left + more_left, right + more_right
        way = feeding.counts(left, right, 1.0 + index * 0.02)
        total = [total[0] + way[0], total[1] + way[1]]
    assert total == pytest.approx([left * METRES, right * METRES], abs=1e-9)
    assert feeding.odometer.refused == 0
