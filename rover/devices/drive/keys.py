"""The keys of the drive in the robot file."""

from typing import Annotated, Literal

from pydantic import Field, model_validator

from rover.devices.keys import DeviceKeys, MaybeOnLink, OnLink, OnPins, OnPwm, Pin, Unguarded
from rover.files.types import (
    POSITIVE,
    FilePath,
    Frequency,
    KeyMistakeError,
    Model,
    Share,
    Speed,
    ValueMistakeError,
    WholeNumber,
    YesOrNo,
)
from rover.quantities import si


class MotorPins(Model):
    """One side of a two-channel H-bridge: its PWM channel, and two direction pins or one that is high forwards."""

    pwm: Annotated[WholeNumber, Field(ge=0)]
    """Channel of the PWM chip."""
    forward: Pin | None = None
    """High to drive forwards."""
    backward: Pin | None = None
    """High to drive backwards."""
    direction: Pin | None = None
    """High to drive forwards, low to drive backwards."""

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

    BESIDE_OWN = (MaybeOnLink, Unguarded)

    top_speed: Annotated[Speed, POSITIVE] = si("0.6 m/s")
    """Speed at full duty, wheels on the ground."""
    dead_band: Share = si("12 %")
    """Duty below which the wheels do not turn."""
    swap_sides: YesOrNo = False
    """The left channel drives the right wheels."""
    reverse_left: YesOrNo = False
    """Forwards of the left wheels is the channel's backwards."""
    reverse_right: YesOrNo = False
    """The same on the right."""
    watchdog: FilePath | None = None
    """The board's hardware watchdog, `/dev/watchdog`: the motor guard sets it to 10 s and feeds it while all is well,
    and the board restarts when it does not. One that is named and cannot be had, or waits longer than 15 s, keeps
    motion from being enabled."""


class CoProcessorDriveKeys(OnLink, DriveKeys):
    """A bridge on a co-processor."""

    driver: Literal["co_processor"] = "co_processor"


class HBridgeKeys(OnPins, OnPwm, DriveKeys):
    """A two-channel H-bridge on pins."""

    driver: Literal["h_bridge"] = "h_bridge"
    left: MotorPins
    """Pins of the left motor."""
    right: MotorPins
    """The same of the right one."""
    enable: Pin | None = None
    """Wakes the bridge: high once both sides are at zero."""
    at_zero: Literal["coast", "brake"] = "coast"
    """Both direction pins low (`coast`), or left as they are (`brake`), which brakes on bridges that do so while their
    pulse input is low."""
    pwm_frequency: Frequency = si("20 kHz")
    """Repeat rate of the pulses; above 18 kHz nobody hears it, and most bridges take it."""

    @model_validator(mode="after")
    def _bridge_is_wired(self) -> "HBridgeKeys":
        if self.left.pwm == self.right.pwm:
            raise ValueMistakeError(("right", "pwm"), "the left side has this channel; each side needs its own")
        pins = self.left.pins + self.right.pins + ([] if self.enable is None else [self.enable])
        if len(set(pins)) < len(pins):
            raise KeyMistakeError("right", "a pin is named twice in 'left:', 'right:' and 'enable:'")
        return self
