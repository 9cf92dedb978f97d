"""The fake battery monitor: plays what a test or a robot file wrote."""

from rover.devices.battery.values import BatteryValue
from rover.devices.script import Played


class Battery(Played):
    """Entries [time, volts, amps]."""

    VALUE = BatteryValue
