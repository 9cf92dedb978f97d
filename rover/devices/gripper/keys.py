"""The keys of the gripper in the robot file."""

from typing import Annotated, ClassVar, Literal

from pydantic import Field, StrictInt, model_validator

from rover.devices.keys import DeviceKeys, Pin
from rover.files.types import POSITIVE, KeyMistakeError, Number, Text, Time

SERVO_PERIOD_S = 0.02
"""A servo takes fifty pulses a second."""
FEEDBACK_KEYS: dict[str, tuple[str, ...]] = {
    "none": (),
    "switch": ("feedback_pin",),
    "position": ("feedback_file", "reads_closed", "reads_open"),
    "current": ("feedback_file", "holds_above"),
}
"""What a servo on pins needs to report its jaws, by kind of feedback."""


class GripperKeys(DeviceKeys):
    """Servo gripper."""

    DRIVERS: ClassVar = {"co_processor": (), "servo_pins": ()}

    open: Annotated[Time, POSITIVE] = 0.0019
    closed: Annotated[Time, POSITIVE] = 0.0011
    travel_time: Annotated[Time, POSITIVE] = 0.6
    feedback: Literal["none", "position", "current", "switch"] = "none"
    on_stop: Literal["hold", "release", "limp"] = "hold"
    push_for: Annotated[Time, POSITIVE] = 60.0
    pwm_channel: Annotated[StrictInt, Field(ge=0)] | None = None
    pwm_chip: Annotated[StrictInt, Field(ge=0)] = 0
    pwm_files: Text = "/sys/class/pwm"
    feedback_pin: Pin | None = None
    feedback_file: Text | None = None
    reads_closed: Number | None = None
    reads_open: Number | None = None
    holds_above: Number | None = None
    own_deadline: Annotated[Time, POSITIVE] | None = None

    @model_validator(mode="after")
    def _guard_has_the_deadline(self) -> "GripperKeys":
        self.refuse_beside_guard("own_deadline")
        return self

    @model_validator(mode="after")
    def _servo_is_wired(self) -> "GripperKeys":
        if self.driver == "servo_pins":
            self._need("pwm_channel", *FEEDBACK_KEYS[self.feedback])
        if self.reads_open is not None and self.reads_open == self.reads_closed:
            raise KeyMistakeError("reads_open", "the same as 'reads_closed', so it tells nothing")
        for key in ("open", "closed") if self.driver == "servo_pins" else ():
            if getattr(self, key) >= SERVO_PERIOD_S:
                raise KeyMistakeError(key, "a servo pulse is shorter than 20 ms; usual are 1000 us to 2000 us")
        return self
