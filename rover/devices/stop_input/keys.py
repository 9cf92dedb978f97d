"""The keys of the stop input in the robot file."""

from typing import Literal

from rover.devices.keys import DeviceKeys, OnPins, Pin
from rover.files.types import Time
from rover.quantities import si


class StopInputKeys(DeviceKeys):
    """Hard-wired stop, normally closed: an open circuit stops."""


class StopPinKeys(OnPins, StopInputKeys):
    """A contact on a pin."""

    driver: Literal["stop_pin"] = "stop_pin"
    pin: Pin
    """The contact's pin."""
    bias: Literal["pull_up", "pull_down"] = "pull_up"
    """`pull_up`: the contact goes to ground; `pull_down`: to the supply of the pins. An open circuit is a stop either
    way, if the chip has pull resistors: the kernel does not tell when it has none, and an open contact may then read
    closed. So press it in `bring-up`; where that is not seen, fit a resistor of 10 kohm."""
    settle: Time = si("50 ms")
    """So long the contact must have been closed again. An opening counts at once."""
