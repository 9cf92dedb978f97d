"""Servo pulses against the common convention: no standard exists; its figures are those that several tutorials give."""

import pytest

from rover.devices.gripper.servo_pins import pulse_for
from rover.devices.gripper.values import SERVO_PERIOD_S
from rover.devices.kernel.pwm import PwmChannel


@pytest.fixture
def channel(tmp_path):
    folder = tmp_path / "pwmchip0" / "pwm0"
    folder.mkdir(parents=True)
    for name, value in {"period": "0", "duty_cycle": "0", "polarity": "normal", "enable": "0"}.items():
        (folder / name).write_text(f"{value}\n")
    channel = PwmChannel(0, 0, tmp_path)
    yield channel, folder
    channel.close()


def written(folder, name):
    return int((folder / name).read_text().split("\n")[0])


def test_pulses_repeat_every_20_ms():
    """50 Hz."""
    assert SERVO_PERIOD_S == 0.020


@pytest.mark.parametrize(("opening", "pulse_s"), [(0.0, 0.0010), (0.5, 0.0015), (1.0, 0.0020)])
def test_centre_is_halfway_between_the_ends(opening, pulse_s):
    """1.0 to 2.0 ms with the centre at 1.5 ms."""
    assert pulse_for(opening, 0.0010, 0.0020) == pytest.approx(pulse_s, abs=1e-12)


@pytest.mark.parametrize(("pulse_ms", "duty"), [(0.5, 0.025), (1.0, 0.05), (1.5, 0.075), (2.0, 0.10), (2.5, 0.125)])
def test_pulses_as_shares_of_the_period_at_50_hz(channel, pulse_ms, duty):
    """0.5 to 2.5 ms are 2.5 to 12.5 % at 50 Hz."""
    channel, folder = channel
    channel.configure(50.0)
    channel.set_pulse(pulse_ms / 1000)
    assert written(folder, "duty_cycle") / written(folder, "period") == pytest.approx(duty)


def test_the_pulse_counts_and_not_the_duty(channel):
    """At 60 Hz the duty of 1.5 ms at 50 Hz, 7.5 %, would be 1.25 ms (derived): the driver sets the pulse itself."""
    channel, folder = channel
    channel.configure(60.0)
    channel.set_duty(0.075)
    assert written(folder, "duty_cycle") == pytest.approx(1_250_000, abs=2)
    channel.set_pulse(0.0015)
    assert written(folder, "duty_cycle") == 1_500_000
