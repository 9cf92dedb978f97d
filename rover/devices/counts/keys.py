"""The keys of the wheel encoders in the robot file."""

from typing import Annotated, Literal

from pydantic import model_validator

from rover.devices.keys import DeviceKeys, OnLink, OnPins, Pin
from rover.files.types import POSITIVE, KeyMistakeError, Model, Number, Time, YesOrNo
from rover.quantities import si


class EncoderPins(Model):
    """The two channels of one wheel encoder; A leads B when the wheels roll forwards."""

    a: Pin
    """The channel that leads when the wheels roll forwards."""
    b: Pin
    """The other one."""


class CountsKeys(DeviceKeys):
    """Wheel encoders."""

    overdue_after: Annotated[Time, POSITIVE] = si("200 ms")
    swap_sides: YesOrNo = False
    """The left channel counts the right wheels."""
    reverse_left: YesOrNo = False
    """The left wheels' counts run down when they roll forwards."""
    reverse_right: YesOrNo = False
    """The same on the right."""
    left_scale: Annotated[Number, POSITIVE] = 1.0
    """The left counts are multiplied by this; `rover calibrate ROBOT drive` finds it."""
    right_scale: Annotated[Number, POSITIVE] = 1.0
    """The same on the right; the two add up to 2."""


class CoProcessorCountsKeys(OnLink, CountsKeys):
    """Encoders on a co-processor."""

    driver: Literal["co_processor"] = "co_processor"


class EncoderPinsKeys(OnPins, CountsKeys):
    """Encoders on pins."""

    driver: Literal["encoder_pins"] = "encoder_pins"
    left: EncoderPins
    """Pins of the left encoder."""
    right: EncoderPins
    """The same of the right one."""
    bias: Literal["none", "pull_up", "pull_down"] = "pull_up"
    """Pull resistor on these pins."""

    @model_validator(mode="after")
    def _encoders_are_wired(self) -> "EncoderPinsKeys":
        if len({self.left.a, self.left.b, self.right.a, self.right.b}) < 4:
            raise KeyMistakeError("right", "a pin is named twice in 'left:' and 'right:'")
        return self
