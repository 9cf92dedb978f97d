import math
from statistics import fmean

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rover.bench.draws import Episodes, stream

TOP_SPEED = 0.6
TRACK = 0.24


def test_a_straight_drive_goes_speed_times_time(bay):
    bench = bay.quiet_bench()
    bay.run(bench, 0.5, 0.5, 2.0)
    assert bench.pose == pytest.approx((2.0 + 0.5 * TOP_SPEED * 2.0, 2.0, 0.0))


def test_a_spin_turns_counter_clockwise_when_the_right_side_goes_forwards(bay):
    bench = bay.quiet_bench()
    bay.run(bench, -0.5, 0.5, 0.5)
    assert bench.pose == pytest.approx((2.0, 2.0, 2 * 0.5 * TOP_SPEED / TRACK * 0.5))


@settings(max_examples=30)
@given(left=st.floats(-1, 1), right=st.floats(-1, 1))
def test_unequal_duties_make_a_circle_of_the_radius_that_kinematics_say(bay, left, right):
    """Exact arc: Thrun, Burgard, Fox, Probabilistic Robotics (2005), ch. 5."""
    bench = bay.quiet_bench()
    bay.run(bench, left, right, 0.5)
    way, turn = (left + right) / 2 * TOP_SPEED * 0.5, (right - left) / TRACK * TOP_SPEED * 0.5
    chord = way * (math.sin(turn / 2) / (turn / 2) if turn else 1.0)
    expected = (2.0 + chord * math.cos(turn / 2), 2.0 + chord * math.sin(turn / 2))
    assert (bench.x, bench.y) == pytest.approx(expected, abs=1e-4)
    assert math.remainder(bench.heading - turn, 2 * math.pi) == pytest.approx(0.0, abs=1e-9)


def test_a_duty_that_has_expired_is_zero(bay):
    bench = bay.quiet_bench()
    bench.drive(0.5, 0.5, bay.seconds(0.25))
    bench.advance(bay.seconds(2.0))
    assert bench.x == pytest.approx(2.0 + 0.5 * TOP_SPEED * 0.25)


def test_speed_rises_with_the_motors_lag(bay):
    bench = bay.quiet_bench(motors={"lag": "100 ms"})
    bench.drive(0.5, 0.5, bay.FOREVER)
    bench.advance(bay.seconds(0.1))
    assert bench.base.speed == pytest.approx(0.5 * TOP_SPEED * (1 - math.exp(-1.0)))


def test_a_duty_inside_the_dead_band_moves_nothing(bay):
    bench = bay.quiet_bench(motors={"dead_band": "15 %"})
    bay.run(bench, 0.14, 0.14, 1.0)
    assert bench.x == 2.0
    bay.run(bench, 0.2, 0.2, 1.0)
    assert bench.x == pytest.approx(2.0 + TOP_SPEED * (0.2 - 0.15) / 0.85)


@pytest.mark.parametrize(("mismatch", "largest"), [("15 %", 0.15), (0, 0.0)])
def test_the_sides_differ_by_the_mismatch(bay, mismatch, largest):
    ratios = []
    for seed in range(20):
        bench = bay.quiet_bench(seed, motors={"mismatch": mismatch})
        bay.run(bench, 0.5, 0.5, 1.0)
        ratios.append((bench.base.right_travel - bench.base.left_travel) / (0.5 * TOP_SPEED))
    assert sorted({round(abs(ratio), 9) for ratio in ratios}) == [largest]
    assert (min(ratios), max(ratios)) == pytest.approx((-largest, largest))


def test_the_effective_track_is_drawn_from_its_span(bay):
    factors = []
    for seed in range(100):
        bench = bay.quiet_bench(seed, floor={"track_factor": [1.2, 1.9]})
        bay.run(bench, -0.5, 0.5, 0.1)
        factors.append(2 * 0.5 * TOP_SPEED * 0.1 / TRACK / bench.heading)
    assert min(factors) >= 1.2
    assert max(factors) <= 1.9
    # The mean of 100 values of this span has a standard deviation of 0.02.
    assert fmean(factors) == pytest.approx(1.55, abs=0.06)


def test_slip_loses_way_but_no_counts(bay):
    bench = bay.quiet_bench(floor={"slip": "10 %"})
    bay.run(bench, 0.5, 0.5, 1.0)
    assert bench.base.left_travel == pytest.approx(0.5 * TOP_SPEED)
    assert bench.x - 2.0 == pytest.approx(0.9 * 0.5 * TOP_SPEED)


def test_a_burst_of_slip_turns_the_body(bay):
    burst = {"slip_every": "100 ms", "slip_burst": "50 %", "slip_lasts": "300 ms"}
    bench = bay.quiet_bench(floor=burst)
    bay.run(bench, 0.5, 0.5, 2.0)
    assert abs(bench.heading) > 0.1
    assert bench.base.left_travel == bench.base.right_travel


def test_the_voltage_sags_under_load_and_falls_slowly(bay):
    bench = bay.quiet_bench(battery={"resistance_factor": 1.0, "lasts": "1 h"})
    rest = bench.base.supply.volts
    bench.drive(1.0, -1.0, bay.FOREVER)
    assert rest - bench.base.supply.volts == pytest.approx(0.15 * 2.0)
    bench.advance(bay.seconds(36.0))
    # 36 s at full load take 1 % of the charge, which takes 1 % of the fall from full to 78 %.
    assert rest - bench.base.supply.volts == pytest.approx(0.15 * 2.0 + 0.01 * 0.22 * 12.6, rel=1e-6)


@pytest.mark.parametrize(("errors", "share"), [({"missed": "1 %"}, -0.01), ({"added": "1 %"}, 0.01)])
def test_count_errors_have_their_share(bay, errors, share):
    bench = bay.quiet_bench(counts=errors)
    driver = bay.device(bench, "counts")
    bench.drive(0.5, -0.5, bay.FOREVER)
    counts = driver.poll(bay.seconds(60.0))[-1].value
    true = 0.5 * TOP_SPEED * 60.0 / (math.pi * 0.072 / 1320)
    # About 1050 errors a side: their number has a standard deviation of 32.
    assert counts.left == pytest.approx(true * (1 + share), abs=130)
    assert counts.right == pytest.approx(-true * (1 + share), abs=130)


def test_counts_are_exact_without_errors(bay):
    bench = bay.quiet_bench()
    driver = bay.device(bench, "counts")
    bay.run(bench, 0.5, 0.5, 1.01)
    assert driver.poll(bay.seconds(1.01))[-1].value.left == math.floor(0.3 * 1.0 / (math.pi * 0.072 / 1320))


def test_episodes_come_as_often_and_last_as_long_as_they_say():
    episodes = Episodes(2.0, (0.5, 0.5), stream(1, "test"))
    on = [episodes.on(step * 10_000_000) for step in range(500_000)]
    # 5000 s hold 2000 episodes of 0.5 s on average (each 2.5 s), with a standard deviation of about 36.
    assert sum(on) * 0.01 == pytest.approx(1000.0, abs=60.0)
    assert not any(Episodes(0.0, (0.5, 0.5), stream(1, "test")).on(step * 10**9) for step in range(1000))
