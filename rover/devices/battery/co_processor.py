"""Battery monitor on the co-processor of a serial link."""

from rover.devices.battery.values import BatteryValue
from rover.devices.on_link import OnLink
from rover.link.sentences import BatteryReport


class Battery(OnLink):
    """Battery monitor."""

    SENTENCES = (BatteryReport,)

    def _value_of(self, report: BatteryReport) -> BatteryValue:
        amps = None if report.milliamps is None else report.milliamps / 1000.0
        return BatteryValue(report.millivolts / 1000.0, amps)
