"""Slip of a wheel against the turn rate: coarse counts are no slip, and a slip is one however coarse they are."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.estimate.slip import SlipGate

TRACK, CIRCUMFERENCE, STEP = 0.36, math.pi * 0.072, 1e-3
COUNTS = [10, 20, 60, 260, 1320]
RATES = [10, 50, 100]


class Wheels:
    """Two wheels with encoders of so many counts a revolution, reported so often a second."""

    def __init__(self, counts_per_rev, rate):
        self.count, self.period = CIRCUMFERENCE / counts_per_rev, 1.0 / rate
        self.gate = SlipGate(self.count)
        self.rolled = [0.0, 0.0]
        self.told = [0, 0]
        self.kept = [0.0, 0.0]
        self.slipped = 0

    def drive(self, left, right, seconds, slip=(0.0, 0.0)):
        """Roll at so many m/s over the ground, and besides by ``slip``, which does not move it."""
        for _ in range(round(seconds / self.period)):
            for side, speed in enumerate((left + slip[0], right + slip[1])):
                self.rolled[side] += speed * self.period
            counts = [math.floor(way / self.count) for way in self.rolled]
            ways = [(now - then) * self.count for now, then in zip(counts, self.told, strict=True)]
            self.told = counts
            taken = self.gate.slipped(*ways, (right - left) * self.period, TRACK * self.period)
            self.slipped += any(taken)
            self.kept = [kept + way - gone for kept, way, gone in zip(self.kept, ways, taken, strict=True)]
        return self

    @property
    def way(self):
        return 0.5 * sum(self.kept)


@pytest.mark.parametrize("rate", RATES)
@pytest.mark.parametrize("counts", COUNTS)
def test_wheels_that_hold_never_slip(counts, rate):
    wheels = Wheels(counts, rate)
    for left, right in [(0.3, 0.3), (0.06, 0.06), (-0.2, 0.2), (0.3, 0.2), (-0.1, -0.1), (0.013, 0.011)]:
        wheels.drive(left, right, 3.0)
    assert wheels.slipped == 0
    assert wheels.way == pytest.approx(0.5 * sum(wheels.rolled), abs=wheels.count)


@given(
    counts=st.sampled_from(COUNTS),
    rate=st.sampled_from(RATES),
    legs=st.lists(st.tuples(st.floats(-0.4, 0.4), st.floats(-0.4, 0.4), st.floats(0.1, 2.0)), max_size=8),
)
def test_no_way_of_driving_makes_coarse_counts_a_slip(counts, rate, legs):
    wheels = Wheels(counts, rate)
    for left, right, seconds in legs:
        wheels.drive(left, right, seconds)
    assert wheels.slipped == 0


@pytest.mark.parametrize("rate", RATES)
@pytest.mark.parametrize("counts", COUNTS)
@pytest.mark.parametrize("sign", [1.0, -1.0])
@pytest.mark.parametrize("side", [0, 1])
def test_a_burst_of_slip_is_taken_out(side, sign, counts, rate):
    """Half of one side's way is lost for 0.8 s at 0.3 m/s: 12 cm too much, 6 cm of the middle's way."""
    wheels = Wheels(counts, rate)
    slip = [0.0, 0.0]
    slip[side] = 0.15 * sign
    wheels.drive(0.3 * sign, 0.3 * sign, 2.0).drive(0.3 * sign, 0.3 * sign, 0.8, slip).drive(
        0.3 * sign, 0.3 * sign, 2.0
    )
    assert wheels.slipped >= 1
    assert wheels.way == pytest.approx(sign * 0.3 * 4.8, abs=max(0.006, 1.5 * wheels.count))


def test_a_fine_encoder_tells_a_slip_in_its_first_report():
    wheels = Wheels(1320, 50).drive(0.3, 0.3, 1.0)
    wheels.drive(0.3, 0.3, 0.02, (0.15, 0.0))
    assert wheels.slipped == 1


def test_what_a_turn_may_differ_by_is_no_slip():
    """A base turns wider or narrower than the track says by a tenth: a fifth is allowed."""
    gate = SlipGate(0.0002)
    assert all(gate.slipped(-0.0055, 0.0055, 0.01, TRACK * 0.02) == (0.0, 0.0) for _ in range(200))
