"""The fake heading sensor: plays what a test or a robot file wrote."""

from rover.devices.heading.values import HeadingValue
from rover.devices.script import Played


class Heading(Played):
    """Entries [time, angle, rate, calibration]."""

    VALUE = HeadingValue
