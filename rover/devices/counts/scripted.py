"""The fake wheel encoders: plays what a test or a robot file wrote."""

from rover.devices.counts.values import WheelCounts
from rover.devices.script import Played


class Counts(Played):
    """Entries [time, left, right, boot]."""

    VALUE = WheelCounts
