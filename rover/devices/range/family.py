"""The family of the range finder."""

from rover.devices.family import Family
from rover.devices.range.keys import RangeKeys
from rover.devices.range.signals import SIGNALS
from rover.devices.range.values import RangeValue

RANGE = Family(
    RangeKeys, RangeValue, signals=SIGNALS, may_be_several=True, faults=("silent", "no echo"), without="slowly"
)
