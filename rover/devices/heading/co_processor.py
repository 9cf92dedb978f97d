"""Absolute-orientation sensor on the co-processor of a serial link."""

import math
from collections.abc import Mapping
from typing import Any

from rover.devices.heading.values import HeadingValue
from rover.devices.on_link import OnLink
from rover.devices.protocols import DriverContext
from rover.link.sentences import HeadingReport, compass_angle
from rover.quantities import wrap


class Heading(OnLink):
    """Absolute-orientation sensor; the option ``offset`` (rad, counter-clockwise) is added to what it says."""

    SENTENCES = (HeadingReport,)

    def __init__(self, options: Mapping[str, Any], context: DriverContext) -> None:
        super().__init__(options, context)
        self._offset = options["offset"]

    def _value_of(self, report: HeadingReport) -> HeadingValue | None:
        angle = compass_angle(report)
        if angle is None:
            return None
        rate = None if report.rate_cdps is None else -math.radians(report.rate_cdps / 100.0)
        return HeadingValue(wrap(angle + self._offset), rate, report.calibration)
