"""The keys of the wheel encoders in the robot file."""

from typing import Annotated, ClassVar, Literal

from pydantic import StrictBool, model_validator

from rover.devices.keys import DeviceKeys, Pin
from rover.files.types import POSITIVE, KeyMistakeError, Model, Number, Time


class EncoderPins(Model):
    """The two channels of one wheel encoder; A leads B when the wheels roll forwards."""

    a: Pin
    b: Pin


class CountsKeys(DeviceKeys):
    """Wheel encoders."""

    DRIVERS: ClassVar = {"co_processor": (), "encoder_pins": ("left", "right")}

    overdue_after: Annotated[Time, POSITIVE] = 0.2
    swap_sides: StrictBool = False
    reverse_left: StrictBool = False
    reverse_right: StrictBool = False
    left: EncoderPins | None = None
    right: EncoderPins | None = None
    bias: Literal["none", "pull_up", "pull_down"] = "pull_up"
    left_scale: Annotated[Number, POSITIVE] = 1.0
    right_scale: Annotated[Number, POSITIVE] = 1.0

    @model_validator(mode="after")
    def _encoders_are_wired(self) -> "CountsKeys":
        pins = [pin for side in (self.left, self.right) if side is not None for pin in (side.a, side.b)]
        if len(set(pins)) < len(pins):
            key = "left" if self.right is None else "right"
            raise KeyMistakeError(key, "a pin is named twice in 'left:' and 'right:'")
        return self
