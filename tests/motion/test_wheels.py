"""Wheel control on a simple motor: first order, one gain per side, a dead band that the control does not quite know."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rover.motion.wheels import WheelControl, past_dead_band

TOP_SPEED, STEP = 0.6, 0.02


# REFERENCE-VALUES section 14, flag [D] (derived there): u' = sgn(u)(d + (1 - d)|u|), and zero stays zero.
@pytest.mark.parametrize(("duty", "compensated"), [(0.5, 0.6), (1.0, 1.0), (-0.5, -0.6), (0.0, 0.0)])
def test_dead_band_compensation(duty, compensated):
    assert past_dead_band(duty, 0.2) == pytest.approx(compensated)


@settings(deadline=None, derandomize=True)
@given(duty=st.floats(-3.0, 3.0), dead_band=st.floats(0.0, 0.9))
def test_a_compensated_duty_keeps_its_sign_and_stays_in_range(duty, dead_band):
    compensated = past_dead_band(duty, dead_band)
    assert compensated * duty >= 0.0
    assert abs(compensated) <= 1.0
    assert compensated == 0.0 or abs(compensated) >= dead_band


class Motor:
    """A motor with a lag: ``gain`` 1 reaches the top speed at full duty; below the dead band it stands."""

    def __init__(self, gain, dead_band, lag=0.12):
        self.gain, self.dead_band, self.lag = gain, dead_band, lag
        self.speed = 0.0

    def step(self, duty):
        past = max(0.0, (abs(duty) - self.dead_band) / (1.0 - self.dead_band))
        wanted = math.copysign(past * self.gain * TOP_SPEED, duty)
        self.speed += (wanted - self.speed) * (1.0 - math.exp(-STEP / self.lag))
        return self.speed


RAMP = 0.6
"""The limits' acceleration (m/s^2): no wanted speed jumps."""


def driven(motor, wanted, seconds):
    """Return the speeds of a motor under control that has been told of a dead band of 12 %, step by step."""
    control = WheelControl(TOP_SPEED, 0.12)
    speeds = [0.0]
    for index in range(round(seconds / STEP)):
        ramped = math.copysign(min(abs(wanted), RAMP * STEP * (index + 1)), wanted)
        speeds.append(motor.step(control.duty(ramped, speeds[-1], STEP)))
    return speeds


@pytest.mark.parametrize("gain", [0.925, 1.0, 1.075])
@pytest.mark.parametrize("dead_band", [0.10, 0.12, 0.20])
@pytest.mark.parametrize("wanted", [0.12, 0.25, 0.4, -0.25])
def test_the_wanted_speed_is_reached_without_much_overshoot(gain, dead_band, wanted):
    """A mismatch of 15 % between the sides is 7.5 % up on one and down on the other."""
    shares = [speed / wanted for speed in driven(Motor(gain, dead_band), wanted, 3.0)]
    assert max(shares) < 1.10
    assert shares[-25:] == pytest.approx([1.0] * 25, abs=0.03)


def test_two_unlike_motors_drive_straight():
    ways = [sum(driven(Motor(gain, dead_band), 0.3, 5.0)) * STEP for gain, dead_band in ((0.925, 0.2), (1.075, 0.1))]
    assert ways[0] == pytest.approx(ways[1], rel=0.03)


def test_a_blocked_wheel_does_not_wind_the_control_up():
    """Freed after ten seconds at full duty, the wheel comes back to the wanted speed within a second and a half."""
    control, motor = WheelControl(TOP_SPEED, 0.12), Motor(1.0, 0.12)
    for _ in range(500):
        control.duty(0.2, 0.0, STEP)
    speed = 0.0
    speeds = [speed := motor.step(control.duty(0.2, speed, STEP)) for _ in range(150)]
    assert speeds[75:] == pytest.approx([0.2] * 75, rel=0.15)


def test_zero_wanted_is_zero_duty_whatever_was_before():
    control = WheelControl(TOP_SPEED, 0.12)
    for _ in range(100):
        control.duty(0.3, 0.1, STEP)
    assert control.duty(0.0, 0.2, STEP) == 0.0
    assert control.duty(0.3, 0.3, STEP) == WheelControl(TOP_SPEED, 0.12).duty(0.3, 0.3, STEP)


def test_without_fresh_counts_the_duty_is_the_feed_forward_alone():
    control = WheelControl(TOP_SPEED, 0.2)
    assert control.duty(0.3, None, STEP) == pytest.approx(past_dead_band(0.5, 0.2))


@settings(deadline=None, derandomize=True)
@given(st.lists(st.tuples(st.floats(-1.0, 1.0), st.none() | st.floats(-2.0, 2.0), st.floats(0.0, 0.5)), max_size=40))
def test_a_duty_is_never_out_of_range(steps):
    control = WheelControl(TOP_SPEED, 0.12)
    assert all(-1.0 <= control.duty(*step) <= 1.0 for step in steps)
