"""Wheel encoders on the co-processor of a serial link."""

from collections.abc import Mapping
from typing import Any

from rover.devices.counts.values import WheelCounts
from rover.devices.on_link import OnLink
from rover.devices.protocols import DriverContext
from rover.devices.sides import Sides
from rover.link.sentences import CountsReport


class Counts(OnLink):
    """Wheel encoders; a lost sentence loses nothing, since counts are cumulative."""

    SENTENCES = (CountsReport,)

    def __init__(self, options: Mapping[str, Any], context: DriverContext) -> None:
        super().__init__(options, context)
        self._sides = Sides(options)
        self._last: CountsReport | None = None
        self._total = (0, 0)

    def _value_of(self, report: CountsReport) -> WheelCounts:
        if self._last is None or self._last.boot != report.boot:
            self._total = (report.left, report.right)
        else:
            left, right = self._total
            self._total = (
                left + counts_between(self._last.left, report.left),
                right + counts_between(self._last.right, report.right),
            )
        self._last = report
        return WheelCounts(*self._sides.from_channels(*self._total), report.boot)


def counts_between(earlier: int, later: int) -> int:
    """Return ``later - earlier`` of a signed 32-bit counter that may have wrapped once, by the shorter way."""
    return (later - earlier + (1 << 31)) % (1 << 32) - (1 << 31)
