"""The family of the wheel encoders."""

from rover.devices.counts.keys import CountsKeys
from rover.devices.counts.values import WheelCounts
from rover.devices.family import Family

COUNTS = Family(CountsKeys, WheelCounts, faults=("silent", "stuck"), without="1 s")
