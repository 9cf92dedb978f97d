"""Motors on pins, on files that stand for the kernel's."""

import pytest

from rover.devices.drive.keys import HBridgeKeys
from rover.guard.pin_output import PinOutput


def options(**keys):
    return HBridgeKeys(**keys).options


@pytest.fixture
def pins(folder, rigs):
    judge = rigs.Judge("peer_pins.py", folder)
    wheels = {"left": {"pwm": 0, "forward": 1, "backward": 2}, "right": {"pwm": 1, "forward": 3, "backward": 4}}
    output = PinOutput(options(gpio=str(folder / "lines"), pwm_files=str(folder / "pwm"), **wheels), None)
    yield output, folder / "pwm" / "pwmchip0"
    output.close()
    judge.close()


def duty(chip, channel: int) -> int:
    return int((chip / f"pwm{channel}" / "duty_cycle").read_text().split()[0])


def test_pins_get_their_duties_and_zero(pins):
    output, chip = pins
    assert output.drive(0.5, 0.5, 0) == (0.0, 0.0), "not open yet"
    output.work(0)
    assert output.fault == ""
    assert output.drive(0.5, -0.25, 0) == (0.5, -0.25)
    assert (duty(chip, 0), duty(chip, 1)) == (25_000, 12_500)
    output.zero()
    assert (duty(chip, 0), duty(chip, 1)) == (0, 0)


def test_pins_that_fail_are_let_go_at_zero(pins):
    output, chip = pins
    output.work(0)
    output.drive(0.5, 0.5, 0)
    assert output.drive(float("nan"), 0.5, 0) == (0.0, 0.0)
    assert "nan" in output.fault
    assert (duty(chip, 0), duty(chip, 1)) == (0, 0)
    assert not output.is_stuck


def test_pins_that_are_not_there_are_told(folder):
    wheels = {"left": {"pwm": 0, "direction": 1}, "right": {"pwm": 1, "direction": 2}}
    output = PinOutput(options(gpio=str(folder), pwm_files="/nowhere", **wheels), None)
    output.work(0)
    assert "no PWM chip 0" in output.fault
