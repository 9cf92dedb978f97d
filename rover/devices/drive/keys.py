"""The keys of the drive in the robot file."""

from typing import Annotated, ClassVar, Literal

from pydantic import Field, StrictBool, StrictInt, model_validator

from rover.devices.keys import DeviceKeys, Pin
from rover.files.types import POSITIVE, Frequency, KeyMistakeError, Model, Share, Speed, Text, Time, ValueMistakeError


class MotorPins(Model):
    """One side of a two-channel H-bridge: its PWM channel, and two direction pins or one that is high forwards."""

    pwm: Annotated[StrictInt, Field(ge=0)]
    forward: Pin | None = None
    backward: Pin | None = None
    direction: Pin | None = None

    @model_validator(mode="after")
    def _direction_is_known(self) -> "MotorPins":
        pair = (self.forward, self.backward)
        if (None in pair) if self.direction is None else (pair != (None, None)):
            raise ValueError("either 'forward:' and 'backward:', or 'direction:' alone, is due here")
        return self

    @property
    def pins(self) -> list[int]:
        """The direction pins."""
        return [pin for pin in (self.forward, self.backward, self.direction) if pin is not None]


class DriveKeys(DeviceKeys):
    """Two motor channels, the wheels of a side coupled."""

    DRIVERS: ClassVar = {"co_processor": (), "h_bridge": ("left", "right")}
    IS_GUARDED = True

    top_speed: Annotated[Speed, POSITIVE] = 0.6
    dead_band: Share = 0.12
    swap_sides: StrictBool = False
    reverse_left: StrictBool = False
    reverse_right: StrictBool = False
    left: MotorPins | None = None
    right: MotorPins | None = None
    enable: Pin | None = None
    at_zero: Literal["coast", "brake"] = "coast"
    pwm_chip: Annotated[StrictInt, Field(ge=0)] = 0
    pwm_frequency: Frequency = 20_000.0  # above what people hear; most bridges take it
    pwm_files: Text = "/sys/class/pwm"
    watchdog: Text | None = None
    own_deadline: Annotated[Time, POSITIVE] | None = None

    @model_validator(mode="after")
    def _guard_has_the_deadline(self) -> "DriveKeys":
        self.refuse_beside_guard("own_deadline")
        return self

    @model_validator(mode="after")
    def _bridge_is_wired(self) -> "DriveKeys":
        if self.left is not None and self.right is not None:
            if self.left.pwm == self.right.pwm:
                raise ValueMistakeError(("right", "pwm"), "the left side has this channel; each side needs its own")
            pins = self.left.pins + self.right.pins + ([] if self.enable is None else [self.enable])
            if len(set(pins)) < len(pins):
                raise KeyMistakeError("right", "a pin is named twice in 'left:', 'right:' and 'enable:'")
        return self
