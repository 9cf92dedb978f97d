"""Servo gripper on the co-processor of a serial link."""

import math
from collections.abc import Mapping, Sequence
from typing import Any

from rover.devices.gripper.values import JawsCommand, JawsValue
from rover.devices.on_link import OnLink
from rover.devices.protocols import DriverContext
from rover.devices.readings import Reading
from rover.link.sentences import JawsReport
from rover.quantities import clamp

_LAST_WORD_NS = 250_000_000
_REPEAT_SERVO_NS = 100_000_000


class Gripper(OnLink):
    """Servo gripper: opening 0 to 1 lies between the pulse widths ``closed`` and ``open`` (s).

    A command that changes nothing is repeated to the device ten times a second at most.
    """

    def __init__(self, options: Mapping[str, Any], context: DriverContext) -> None:
        super().__init__(options, context)
        self._closed, self._open = float(options["closed"]), float(options["open"])
        self._has_feedback = options.get("feedback", "none") != "none"
        self._on_stop = options.get("on_stop", "hold")
        self._mailbox = self._link.mailbox(JawsReport)
        self._sequence = 0
        self._sent: tuple[int, int] | None = None

    def poll(self, now_ns: int) -> Sequence[Reading]:
        """Return the reports of jaws with feedback, as `JawsValue`."""
        readings = self._mailbox.take()
        return [reading._replace(value=_jaws_value(reading.value)) for reading in readings if self._has_feedback]

    def apply(self, command: JawsCommand, now_ns: int) -> None:
        """Send the pulse width for the opening; a command that has expired is not sent.

        Raises:
            ValueError: the opening is not a finite number.
        """
        pulse_us = self._pulse_us(command.opening)
        self._sequence = command.sequence
        if now_ns < command.expires_ns and self._is_due(pulse_us, now_ns):
            self._sent = (pulse_us, now_ns)
            self._link.send_servo(pulse_us, command.sequence, command.expires_ns)

    def close(self) -> None:
        """Leave the jaws as ``on_stop`` says."""
        if self._on_stop == "hold":
            return
        self._sequence += 1
        pulse_us = self._pulse_us(1.0 if self._on_stop == "release" else None)
        self._link.send_servo(pulse_us, self._sequence, self._link.now_ns() + _LAST_WORD_NS)

    def _is_due(self, pulse_us: int, now_ns: int) -> bool:
        if self._sent is None:
            return True
        sent_us, sent_ns = self._sent
        return pulse_us != sent_us or now_ns - sent_ns >= _REPEAT_SERVO_NS

    def _pulse_us(self, opening: float | None) -> int:
        if opening is None:
            return 0
        if not math.isfinite(opening):
            raise ValueError(f"a jaw opening of {opening}: the command is not sent, and the jaws stay as they are")
        share = clamp(opening, 0.0, 1.0)
        return round((self._closed + share * (self._open - self._closed)) * 1e6)


def _jaws_value(report: JawsReport) -> JawsValue:
    opening = None if report.opening_permille is None else report.opening_permille / 1000.0
    return JawsValue(opening, None if report.holding is None else report.holding == 1)
