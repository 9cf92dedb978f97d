"""Battery monitor on the co-processor of a serial link."""

from collections.abc import Mapping, Sequence
from typing import Any

from rover.devices.battery.values import BatteryValue
from rover.devices.on_link import OnLink
from rover.devices.protocols import DriverContext
from rover.devices.readings import Reading
from rover.link.sentences import BatteryReport


class Battery(OnLink):
    """Battery monitor."""

    def __init__(self, options: Mapping[str, Any], context: DriverContext) -> None:
        super().__init__(options, context)
        self._mailbox = self._link.mailbox(BatteryReport)

    def poll(self, now_ns: int) -> Sequence[Reading]:
        """Return the battery reports that came in, as `BatteryValue`."""
        return [reading._replace(value=_battery_value(reading.value)) for reading in self._mailbox.take()]


def _battery_value(report: BatteryReport) -> BatteryValue:
    return BatteryValue(report.millivolts / 1000.0, None if report.milliamps is None else report.milliamps / 1000.0)
