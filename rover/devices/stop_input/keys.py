"""The keys of the stop input in the robot file."""

from typing import Literal

from pydantic import model_validator

from rover.devices.keys import DeviceKeys, Pin
from rover.files.types import Time


class StopInputKeys(DeviceKeys):
    """Hard-wired stop, normally closed."""

    DRIVERS = ("stop_pin",)

    pin: Pin | None = None
    bias: Literal["pull_up", "pull_down"] = "pull_up"
    settle: Time = 0.05

    @model_validator(mode="after")
    def _pin_is_named(self) -> "StopInputKeys":
        self._needs("stop_pin", "pin")
        return self
