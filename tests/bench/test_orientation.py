import itertools
import math
from statistics import fmean, stdev

import pytest

from rover.bench.floor import BiasField


def angles(bay, lasts, seed=1, **changes):
    bench = bay.quiet_bench(seed, **changes)
    return [reading.value.angle for reading in bay.reports(bench, "heading", lasts)]


def test_the_heading_follows_a_spin_and_wraps(bay):
    bench = bay.quiet_bench()
    driver = bay.device(bench, "heading")
    bay.run(bench, -0.5, 0.5, 1.4)
    value = driver.poll(bay.seconds(1.4))[-1].value
    assert value.angle == pytest.approx(2.5 * 1.4 - 2 * math.pi)
    assert value.rate == pytest.approx(2.5)
    assert value.calibration == 3


def test_noise_has_its_spread(bay):
    found = angles(bay, 100.0, heading={"noise": "1 deg"})
    assert stdev(found) == pytest.approx(math.radians(1), rel=0.06)
    assert fmean(found) == pytest.approx(0.0, abs=math.radians(0.1))


def test_drift_is_slow_and_has_its_spread(bay):
    ends = [angles(bay, 5.0, seed, heading={"drift": "2 deg", "drift_time": "1 s"})[-1] for seed in range(100)]
    assert stdev(ends) == pytest.approx(math.radians(2), rel=0.25)
    found = angles(bay, 60.0, heading={"drift": "2 deg", "drift_time": "5 min"})
    assert max(abs(one - other) for one, other in itertools.pairwise(found)) < math.radians(0.3)


def test_the_bias_of_a_place_stays_within_its_bound_and_varies_over_about_a_metre(bay):
    floor = bay.bench_file(floor={"heading_bias": "10 deg", "bias_scale": "1 m"}).floor
    largest, changes = 0.0, []
    for seed in range(30):
        field = BiasField(floor, seed)
        values = [field.at(0.1 * step, 1.0) for step in range(60)]
        largest = max(largest, *map(abs, values))
        changes += [abs(values[at + 10] - values[at]) for at in range(50)]
    assert math.radians(7) < largest <= math.radians(10)
    assert math.radians(2) < fmean(changes) < math.radians(10)


def test_the_same_place_has_the_same_bias(bay):
    found = angles(bay, 5.0, floor={"heading_bias": "10 deg"})
    assert len(set(found)) == 1
    assert found[0] != 0.0


def test_steps_change_the_bias_now_and_then(bay):
    found = angles(bay, 300.0, floor={"bias_step": "5 deg", "bias_step_every": "10 s"})
    # 30 steps in 300 s on average, with a standard deviation of 5.5.
    assert 14 <= len(set(found)) <= 48
    assert max(map(abs, found)) <= math.radians(5)
