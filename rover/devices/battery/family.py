"""The family of the battery monitor."""

from rover.devices.battery.keys import BatteryKeys
from rover.devices.battery.signals import SIGNALS
from rover.devices.battery.values import BatteryValue
from rover.devices.family import Family

BATTERY = Family(BatteryKeys, BatteryValue, signals=SIGNALS, may_be_several=True, faults=("silent", "low"))
