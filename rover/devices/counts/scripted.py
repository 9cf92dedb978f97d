"""Wheel encoders that play a script."""

from rover.devices.counts.values import WheelCounts
from rover.devices.fakes import Scripted


class Counts(Scripted):
    """Entries [time, left, right, boot]."""

    VALUE = WheelCounts
