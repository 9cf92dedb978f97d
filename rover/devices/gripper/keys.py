"""The keys of the gripper in the robot file."""

from typing import Annotated, Literal

from pydantic import Field, model_validator

from rover.devices.gripper.values import SERVO_PERIOD_S
from rover.devices.keys import DeviceKeys, MaybeOnLink, OnLink, OnPins, OnPwm, Pin, Unguarded
from rover.files.types import POSITIVE, FilePath, KeyMistakeError, Length, Number, Time, WholeNumber
from rover.quantities import si

FEEDBACK_KEYS: dict[str, tuple[str, ...]] = {
    "none": (),
    "switch": ("feedback_pin",),
    "position": ("feedback_file", "reads_closed", "reads_open"),
    "current": ("feedback_file", "holds_above"),
}
"""What a servo on pins needs to report its jaws, by kind of feedback."""


class GripperKeys(DeviceKeys):
    """Servo gripper."""

    BESIDE_OWN = (MaybeOnLink, Unguarded)

    open: Annotated[Time, POSITIVE] = si("1900 us")
    """Servo pulse with the jaws open."""
    closed: Annotated[Time, POSITIVE] = si("1100 us")
    """Servo pulse with the jaws closed; may be the longer one."""
    travel_time: Annotated[Time, POSITIVE] = si("600 ms")
    """From open to closed."""
    feedback: Literal["none", "position", "current", "switch"] = "none"
    """What tells about the jaws."""
    opens_to: Annotated[Length, POSITIVE] | None = None
    """Between the jaws' faces when they are open; without it they are taken to open by 6 cm more than the widest kind.
    With it, the opening at which they stop is held against the width of what they are to hold."""
    depth: Annotated[Length, POSITIVE] = si("8 cm")
    """Along the fingers: what stands within half of it of the jaws' middle, they close on."""
    tips: Annotated[Length, POSITIVE] = si("2 cm")
    """From the jaws' middle to the ends of the fingers."""
    on_stop: Literal["hold", "release", "limp"] = "hold"
    """How the driver leaves the jaws when a run is over."""
    push_for: Annotated[Time, POSITIVE] = si("60 s")
    """After closing, the jaws push for so long at most; then the servo goes limp and its gears hold."""


class CoProcessorGripperKeys(OnLink, GripperKeys):
    """A servo on a co-processor."""

    driver: Literal["co_processor"] = "co_processor"


class ServoPinsKeys(OnPins, OnPwm, GripperKeys):
    """A servo on a PWM channel, and its feedback, if any, on a pin or in a file."""

    driver: Literal["servo_pins"] = "servo_pins"
    pwm_channel: Annotated[WholeNumber, Field(ge=0)]
    """Channel of the servo."""
    feedback_pin: Pin | None = None
    """With `feedback: switch`: pulled to ground while a jar presses the switch."""
    feedback_file: FilePath | None = None
    """With `position` or `current`: file with the number measured, such as `.../iio:device0/in_voltage1_raw`."""
    reads_closed: Number | None = None
    """With `position`: that number when the jaws are closed."""
    reads_open: Number | None = None
    """The same when they are open."""
    holds_above: Number | None = None
    """With `current`: closed jaws that push on something read more."""

    @model_validator(mode="after")
    def _servo_is_wired(self) -> "ServoPinsKeys":
        missing = [f"'{key}:'" for key in FEEDBACK_KEYS[self.feedback] if getattr(self, key) is None]
        if missing:
            why = f"'feedback: {self.feedback}' needs {' and '.join(missing)} beside it"
            raise KeyMistakeError("feedback", why)
        if self.reads_open is not None and self.reads_open == self.reads_closed:
            raise KeyMistakeError("reads_open", "the same as 'reads_closed', so it tells nothing")
        for key in ("open", "closed"):
            if getattr(self, key) >= SERVO_PERIOD_S:
                raise KeyMistakeError(key, "a servo pulse is shorter than 20 ms; usual are 1000 us to 2000 us")
        return self
