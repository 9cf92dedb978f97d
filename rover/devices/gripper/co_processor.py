"""Jaws with feedback on the co-processor of a serial link."""

from collections.abc import Mapping, Sequence
from typing import Any

from rover.devices.gripper.values import JawsValue
from rover.devices.on_link import OnLink
from rover.devices.protocols import DriverContext
from rover.devices.readings import Reading
from rover.link.sentences import JawsReport


class Gripper(OnLink):
    """What a gripper with feedback reports; its pulses go through the motor guard."""

    def __init__(self, options: Mapping[str, Any], context: DriverContext) -> None:
        super().__init__(options, context)
        self._has_feedback = options.get("feedback", "none") != "none"
        self._mailbox = self._link.mailbox(JawsReport)

    def poll(self, now_ns: int) -> Sequence[Reading]:
        """Return the reports of jaws with feedback, as `JawsValue`."""
        readings = self._mailbox.take()
        return [reading._replace(value=_jaws_value(reading.value)) for reading in readings if self._has_feedback]


def _jaws_value(report: JawsReport) -> JawsValue:
    opening = None if report.opening_permille is None else report.opening_permille / 1000.0
    return JawsValue(opening, None if report.holding is None else report.holding == 1)
