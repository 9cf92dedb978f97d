"""A battery monitor that plays a script."""

from rover.devices.battery.values import BatteryValue
from rover.devices.fakes import Scripted


class Battery(Scripted):
    """Entries [time, volts, amps]."""

    VALUE = BatteryValue
