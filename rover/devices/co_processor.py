"""Drivers for what the co-processor on a serial link reports: counts, heading, battery, jaws.

Each is made with the options beside its name in the robot file; several share one link. `tools/coprocessor/`
has what the board's firmware needs.
"""

import math
from collections.abc import Mapping, Sequence
from typing import Any

from rover.devices.protocols import DriverContext
from rover.devices.readings import (
    BatteryValue,
    HeadingValue,
    JawsValue,
    Reading,
    WheelCounts,
)
from rover.devices.sides import Sides as Sides
from rover.link import Link
from rover.link.sentences import BatteryReport, CountsReport, HeadingReport, JawsReport, compass_angle
from rover.quantities import wrap


def link_of(options: Mapping[str, Any], context: DriverContext) -> Link:
    """Return the link that a device's options name.

    Raises:
        ValueError: they name none, or one that is not open.
    """
    name = options.get("link")
    link = context.links.get(name) if isinstance(name, str) else None
    if not isinstance(link, Link):
        raise ValueError(f"driver '{options.get('driver')}' needs 'link:', one of {', '.join(context.links) or 'none'}")
    return link


class _OnLink:
    """What the drivers have in common: the link is closed by who opened it, not by one of its drivers."""

    def __init__(self, options: Mapping[str, Any], context: DriverContext) -> None:
        self._link = link_of(options, context)

    def close(self) -> None:
        """Do nothing: the other drivers may still need the link."""


class Counts(_OnLink):
    """Wheel encoders; a lost sentence loses nothing, since counts are cumulative."""

    def __init__(self, options: Mapping[str, Any], context: DriverContext) -> None:
        super().__init__(options, context)
        self._sides = Sides(options)
        self._mailbox = self._link.mailbox(CountsReport)
        self._last: CountsReport | None = None
        self._total = (0, 0)

    def poll(self, now_ns: int) -> Sequence[Reading]:
        """Return the counts that came in, unwrapped, as `WheelCounts`."""
        return [reading._replace(value=self._unwrap(reading.value)) for reading in self._mailbox.take()]

    def _unwrap(self, report: CountsReport) -> WheelCounts:
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


class Heading(_OnLink):
    """Absolute-orientation sensor; the option ``offset`` (rad, counter-clockwise) is added to what it says."""

    def __init__(self, options: Mapping[str, Any], context: DriverContext) -> None:
        super().__init__(options, context)
        self._offset = float(options.get("offset", 0.0))
        self._mailbox = self._link.mailbox(HeadingReport)

    def poll(self, now_ns: int) -> Sequence[Reading]:
        """Return the headings that came in as `HeadingValue`; a sentence without heading is none."""
        read = ((reading, self._value(reading.value)) for reading in self._mailbox.take())
        return [reading._replace(value=value) for reading, value in read if value is not None]

    def _value(self, report: HeadingReport) -> HeadingValue | None:
        angle = compass_angle(report)
        if angle is None:
            return None
        rate = None if report.rate_cdps is None else -math.radians(report.rate_cdps / 100.0)
        return HeadingValue(wrap(angle + self._offset), rate, report.calibration)


class Battery(_OnLink):
    """Battery monitor."""

    def __init__(self, options: Mapping[str, Any], context: DriverContext) -> None:
        super().__init__(options, context)
        self._mailbox = self._link.mailbox(BatteryReport)

    def poll(self, now_ns: int) -> Sequence[Reading]:
        """Return the battery reports that came in, as `BatteryValue`."""
        return [reading._replace(value=_battery_value(reading.value)) for reading in self._mailbox.take()]


def _battery_value(report: BatteryReport) -> BatteryValue:
    return BatteryValue(report.millivolts / 1000.0, None if report.milliamps is None else report.milliamps / 1000.0)


class Gripper(_OnLink):
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
