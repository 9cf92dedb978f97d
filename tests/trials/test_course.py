"""What is measured of a course: invented ones with figures that are known."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.trials.course import COASTS_S, Sample, driven_s, fastest_m_s, last_driven_s, rolled_m


def straight(speeds: list[float], duties: list[float]) -> list[Sample]:
    """Return a course along x: a speed (m/s) and a duty for each tenth of a second."""
    samples, x = [Sample(0.0, 0.0, 0.0, 0.0, 0.0)], 0.0
    for number, (speed, duty) in enumerate(zip(speeds, duties, strict=True), 1):
        x += 0.1 * speed
        samples.append(Sample(0.1 * number, duty, x, 0.0, 0.0))
    return samples


DRIVES_ON = straight([0.4] * 40, [0.5] * 10 + [0.0] * 30)


def test_how_long_the_wheels_were_commanded() -> None:
    assert driven_s(DRIVES_ON, 0.0) == pytest.approx(1.0)
    assert driven_s(DRIVES_ON, 0.45) == pytest.approx(0.5)
    assert driven_s(DRIVES_ON, 0.0, 0.35) == pytest.approx(0.3)
    assert driven_s(DRIVES_ON, 1.0) == 0.0
    assert last_driven_s(DRIVES_ON) == pytest.approx(1.0)


def test_who_rolls_out_has_not_moved_and_who_goes_on_has() -> None:
    rolls_out = straight([0.4] * 10 + [0.2, 0.1, 0.05, 0.02, 0.01] + [0.0] * 25, [0.5] * 10 + [0.0] * 30)
    assert rolled_m(rolls_out, 0.12) == 0.0
    assert rolled_m(DRIVES_ON, 0.12) == pytest.approx(0.4 * (3.0 - COASTS_S))


def test_a_turn_on_the_spot_counts_by_the_wheels_way() -> None:
    turning = [Sample(0.1 * number, 0.0, 1.0, 1.0, 3.0 + 0.1 * number) for number in range(11)]
    assert rolled_m(turning, 0.12) == pytest.approx(0.12 * 1.0)


def test_a_speed_is_one_over_half_a_second() -> None:
    jerk = straight([0.1] * 20 + [1.0] + [0.1] * 20, [0.5] * 41)
    assert fastest_m_s(jerk, 0.0) == pytest.approx((0.1 + 4 * 0.01) / 0.5)
    assert fastest_m_s(jerk, 2.2) == pytest.approx(0.1)


@given(st.lists(st.tuples(st.floats(0.0, 0.5), st.sampled_from([0.0, 0.3])), min_size=1, max_size=60))
def test_what_rolls_is_part_of_the_way(parts: list[tuple[float, float]]) -> None:
    course = straight([speed for speed, _ in parts], [duty for _, duty in parts])
    assert 0.0 <= rolled_m(course, 0.12) <= course[-1].x + 1e-9
    assert driven_s(course, 0.0) <= course[-1].at_s + 1e-9
