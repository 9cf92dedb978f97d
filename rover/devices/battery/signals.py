"""What conditions read of a battery monitor."""

from rover import quantities
from rover.devices.battery.keys import BatteryKeys
from rover.devices.battery.values import BatteryValue
from rover.devices.signals import DeviceSignal
from rover.kinds import Number

VOLTAGE = Number(quantities.VOLTAGE)


def _volts(value: BatteryValue, keys: BatteryKeys) -> float:
    return value.volts


def _rest_volts(value: BatteryValue, keys: BatteryKeys) -> float:
    return value.volts + (value.amps or 0.0) * keys.inner_resistance


SIGNALS = {
    "volts": DeviceSignal(VOLTAGE, "voltage at the battery's terminals", _volts),
    "rest_volts": DeviceSignal(VOLTAGE, "the same, corrected for the load's drop", _rest_volts),
}
