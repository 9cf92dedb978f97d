"""Two-channel H-bridge on pins: for each side one or two direction pins and a PWM channel for the size of the duty.

`HBridge` drives the pins and lives in the motor guard's process, nowhere else. The runtime's driver of that name
sends its commands to the guard.
"""

import math
from collections.abc import Mapping
from contextlib import ExitStack
from pathlib import Path
from typing import Any

from rover.devices.kernel.gpio import OutputLines
from rover.devices.kernel.pwm import PwmChannel
from rover.devices.sides import Sides
from rover.quantities import clamp

_FULL = 1_000_000
"""Steps of a duty of 1 while sides are swapped and reversed."""


class HBridge:
    """Both motor channels, at zero when made and at zero when closed. One thread at a time.

    The two direction pins of a side are never high together, and a side changes direction only through zero: the
    command that asks for the other direction brings it to zero, the next one turns it round.

    ``at_zero: coast`` sets both direction pins low as well; ``brake`` leaves them, which shorts the motor on bridges
    that brake while their pulse input is low. (Full duty with both pins low would brake other bridges, but a process
    that dies would leave it standing there.) With one direction pin the board itself decides.

    Raises:
        DeviceError: a pin or channel cannot be had. Nothing is left energised.
    """

    def __init__(self, options: Mapping[str, Any]) -> None:
        self._sides = Sides(options)
        sides = (options["left"], options["right"])
        pins = [_direction_pins(side) for side in sides]
        enable = [] if options["enable"] is None else [options["enable"]]
        with ExitStack() as undo:
            lines = OutputLines(options["gpio"], [*pins[0], *pins[1], *enable])
            undo.callback(lines.close)
            channels = [_channel(options, side["pwm"], undo) for side in sides]
            self._left, self._right = (
                _MotorChannel(lines, side, channel, options["at_zero"] == "brake")
                for side, channel in zip(pins, channels, strict=True)
            )
            lines.set(dict.fromkeys(enable, True))
            self._undo = undo.pop_all()

    def apply(self, left: float, right: float) -> tuple[float, float]:
        """Set the duties (-1 to 1, forwards positive; what lies beyond is cut), and return those set now.

        Raises:
            ValueError: a duty is not a number; nothing is changed.
        """
        channels = self._sides.to_channels(_steps(left), _steps(right))
        applied = (self._left.apply(channels[0] / _FULL), self._right.apply(channels[1] / _FULL))
        steps = (round(applied[0] * _FULL), round(applied[1] * _FULL))
        left_steps, right_steps = self._sides.from_channels(*steps)
        return left_steps / _FULL, right_steps / _FULL

    def zero(self) -> None:
        """Bring both channels to zero; a failure of one does not keep the other from it."""
        try:
            self._left.zero()
        finally:
            self._right.zero()

    def close(self) -> None:
        """Zero, then let go of channels and pins; a second call does nothing."""
        self._undo.close()


class _MotorChannel:
    """One motor channel."""

    def __init__(self, lines: OutputLines, pins: tuple[int, ...], channel: PwmChannel, brakes: bool) -> None:
        self._lines, self._pins, self._channel, self._brakes = lines, pins, channel, brakes
        self._duty = 0.0

    def apply(self, duty: float) -> float:
        if duty * self._duty < 0.0:
            duty = 0.0
        if duty == 0.0:
            self.zero()
            return 0.0
        if self._duty == 0.0:
            self._face(duty > 0.0)
        self._channel.set_duty(abs(duty))
        self._duty = duty
        return duty

    def zero(self) -> None:
        self._channel.set_duty(0.0)
        self._duty = 0.0
        if not self._brakes:
            self._lines.set(dict.fromkeys(self._pins, False))

    def _face(self, forwards: bool) -> None:
        """Set the direction while the duty is zero: break before make."""
        if len(self._pins) == 1:
            self._lines.set({self._pins[0]: forwards})
            return
        forward, backward = self._pins
        self._lines.set({(backward if forwards else forward): False})
        self._lines.set({(forward if forwards else backward): True})


def _steps(duty: float) -> int:
    if not math.isfinite(duty):
        raise ValueError(f"a duty of {duty}: the command is not carried out")
    return round(clamp(duty, -1.0, 1.0) * _FULL)


def _direction_pins(side: Mapping[str, Any]) -> tuple[int, ...]:
    return (side["forward"], side["backward"]) if side["direction"] is None else (side["direction"],)


def _channel(options: Mapping[str, Any], number: int, undo: ExitStack) -> PwmChannel:
    channel = PwmChannel(options["pwm_chip"], number, Path(options["pwm_files"]))
    undo.callback(channel.close)
    channel.configure(options["pwm_frequency"])
    return channel
