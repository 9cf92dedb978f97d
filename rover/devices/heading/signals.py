"""What conditions read of a heading sensor."""

from rover.devices.heading.keys import HeadingKeys
from rover.devices.heading.values import HeadingValue
from rover.devices.signals import DeviceSignal
from rover.kinds import Number


def _calibration(value: HeadingValue, keys: HeadingKeys) -> int:
    return value.calibration or 0


SIGNALS = {
    "calibration": DeviceSignal(Number(whole=True), "calibration level that the sensor reports, 0 to 3", _calibration),
}
