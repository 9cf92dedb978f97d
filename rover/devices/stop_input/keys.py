"""The keys of the stop input in the robot file."""

from typing import ClassVar, Literal

from rover.devices.keys import DeviceKeys, Pin
from rover.files.types import Time


class StopInputKeys(DeviceKeys):
    """Hard-wired stop, normally closed."""

    DRIVERS: ClassVar = {"stop_pin": ("pin",)}

    pin: Pin | None = None
    bias: Literal["pull_up", "pull_down"] = "pull_up"
    settle: Time = 0.05
