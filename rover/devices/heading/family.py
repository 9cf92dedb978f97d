"""The family of the heading sensor."""

from rover.devices.family import Family
from rover.devices.heading.keys import HeadingKeys
from rover.devices.heading.signals import SIGNALS
from rover.devices.heading.values import HeadingValue

HEADING = Family(HeadingKeys, HeadingValue, signals=SIGNALS, may_be_several=True, without="20 s")
