"""The family of the stop input."""

from rover.devices.family import Family
from rover.devices.stop_input.keys import StopInputKeys
from rover.devices.stop_input.values import StopInputValue

STOP_INPUT = Family(StopInputKeys, StopInputValue, faults=("silent", "open"), without="never")
