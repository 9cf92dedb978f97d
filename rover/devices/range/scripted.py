"""The fake range finder: plays what a test or a robot file wrote."""

from rover.devices.range.values import RangeValue
from rover.devices.script import Played


class Range(Played):
    """Entries [time, distance]; a distance left out is no echo."""

    VALUE = RangeValue
