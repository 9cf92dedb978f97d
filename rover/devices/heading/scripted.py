"""A heading sensor that plays a script."""

from rover.devices.fakes import Scripted
from rover.devices.heading.values import HeadingValue


class Heading(Scripted):
    """Entries [time, angle, rate, calibration]."""

    VALUE = HeadingValue
