"""Jaws with feedback on the co-processor of a serial link."""

from collections.abc import Mapping
from typing import Any

from rover.devices.gripper.values import JawsValue
from rover.devices.on_link import OnLink
from rover.devices.protocols import DriverContext
from rover.link.sentences import JawsReport


class Gripper(OnLink):
    """What a gripper with feedback reports; its pulses go through the motor guard."""

    SENTENCES = (JawsReport,)

    def __init__(self, options: Mapping[str, Any], context: DriverContext) -> None:
        super().__init__(options, context)
        self._has_feedback = options["feedback"] != "none"

    def _value_of(self, report: JawsReport) -> JawsValue | None:
        if not self._has_feedback:
            return None
        opening = None if report.opening_permille is None else report.opening_permille / 1000.0
        return JawsValue(opening, None if report.holding is None else report.holding == 1)
