"""The robot file: what the machine is. Every key is explained in `config/README.md`."""

import math
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BeforeValidator, ConfigDict, Field, StrictBool, StrictInt, model_validator

from rover import quantities
from rover.files import types
from rover.files.problems import nearest
from rover.files.types import (
    NOT_NEGATIVE,
    POSITIVE,
    Acceleration,
    Angle,
    Current,
    Frequency,
    KeyMistakeError,
    Length,
    Model,
    Name,
    Number,
    NumberSpan,
    Resistance,
    Share,
    Span,
    Speed,
    Text,
    Time,
    TurnAcceleration,
    TurnRate,
    ValueMistakeError,
    Voltage,
)

Pin = Annotated[StrictInt, Field(ge=0)]
"""Offset of a line on its GPIO chip."""


def _air(celsius: float) -> float:
    if not -20.0 <= celsius <= 50.0:
        raise ValueError("must lie between -20 degC and 50 degC")
    return celsius


def _odd(number: int) -> int:
    if number % 2 == 0:
        raise ValueError("must be odd, so that there is a middle one")
    return number


AirTemperature = Annotated[
    float, BeforeValidator(lambda value: quantities.parse_as(value, quantities.TEMPERATURE)), AfterValidator(_air)
]
Odd = Annotated[StrictInt, Field(ge=1, le=15), AfterValidator(_odd)]


class Body(Model):
    """Measures of the chassis. The pose is that of the point midway between the wheels."""

    wheel_diameter: Annotated[Length, POSITIVE]
    track: Annotated[Length, POSITIVE]
    counts_per_rev: Annotated[Number, POSITIVE]
    gripper_reach: Annotated[Length, POSITIVE]
    length: Annotated[Length, POSITIVE] = 0.24
    width: Annotated[Length, POSITIVE] = 0.26
    track_factor: Annotated[Number, POSITIVE] = 1.5

    @property
    def metres_per_count(self) -> float:
        """Wheel travel in one encoder count (m)."""
        return math.pi * self.wheel_diameter / self.counts_per_rev

    @property
    def effective_track(self) -> float:
        """Track (m) as which a skid-steer base turns: the geometric one times ``track_factor``."""
        return self.track * self.track_factor


class SerialLink(Model):
    """A serial line to a co-processor or a compass."""

    port: Text
    baud: Annotated[StrictInt, Field(gt=0)] = 115200


class Device(Model):
    """What all devices have. A driver named ``package.module:Class`` may have any further keys."""

    model_config = ConfigDict(frozen=True, extra="allow")

    driver: Text
    link: Name | None = None
    rate: Frequency = 50.0
    overdue_after: Annotated[Time, POSITIVE] = 0.3
    gpio: Text = "/dev/gpiochip0"
    script: Annotated[list[Annotated[list[Any], Field(min_length=1)]], BeforeValidator(types.loose)] = Field(
        default_factory=list
    )

    @model_validator(mode="after")
    def _known_keys(self) -> "Device":
        if ":" not in self.driver:
            for key in self.model_extra or {}:
                raise KeyMistakeError(key, f"unknown key{nearest(key, type(self).model_fields)}")
        return self

    def _needs(self, driver: str, *keys: str) -> None:
        """Raise at the driver's line for keys that it cannot do without."""
        missing = [key for key in keys if getattr(self, key) is None]
        if self.driver == driver and missing:
            named = " and ".join(f"'{key}:'" for key in missing)
            raise KeyMistakeError("driver", f"driver '{driver}' needs {named} beside it")

    @property
    def options(self) -> dict[str, Any]:
        """The device's keys and values for its driver, SI floats."""
        known = self.model_dump()
        return known | {key: types.loose(value) for key, value in (self.model_extra or {}).items()}


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


class Drive(Device):
    """Two motor channels, the wheels of a side coupled."""

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
    pwm_frequency: Frequency = 20_000.0
    pwm_files: Text = "/sys/class/pwm"
    watchdog: Text | None = None

    @model_validator(mode="after")
    def _bridge_is_wired(self) -> "Drive":
        self._needs("h_bridge", "left", "right")
        if self.left is not None and self.right is not None:
            if self.left.pwm == self.right.pwm:
                raise ValueMistakeError(("right", "pwm"), "the left side has this channel; each side needs its own")
            pins = self.left.pins + self.right.pins + ([] if self.enable is None else [self.enable])
            if len(set(pins)) < len(pins):
                raise KeyMistakeError("right", "a pin is named twice in 'left:', 'right:' and 'enable:'")
        return self


class EncoderPins(Model):
    """The two channels of one wheel encoder; A leads B when the wheels roll forwards."""

    a: Pin
    b: Pin


class Counts(Device):
    """Wheel encoders."""

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
    def _encoders_are_wired(self) -> "Counts":
        self._needs("encoder_pins", "left", "right")
        pins = [pin for side in (self.left, self.right) if side is not None for pin in (side.a, side.b)]
        if len(set(pins)) < len(pins):
            key = "left" if self.right is None else "right"
            raise KeyMistakeError(key, "a pin is named twice in 'left:' and 'right:'")
        return self


class Heading(Device):
    """Absolute-orientation sensor or compass."""

    rate: Frequency = 20.0
    offset: Angle = 0.0
    sigma: Annotated[Angle, POSITIVE] = math.radians(2.0)


LEAST_PING_CYCLE_S = 0.06
"""Least time (s) between two pings of an ultrasonic range finder; makers state 60 ms."""


class Range(Device):
    """Ultrasonic range finder looking ahead."""

    rate: Frequency = 15.0
    ahead: Length = 0.12
    least: Annotated[Length, NOT_NEGATIVE] = 0.03
    most: Annotated[Length, POSITIVE] = 4.0
    beam: Annotated[Angle, POSITIVE] = math.radians(30.0)
    no_echo_reads: Annotated[Length, POSITIVE] | None = None
    trigger: Pin | None = None
    echo: Pin | None = None
    temperature: AirTemperature = 20.0
    median_of: Odd = 1

    @model_validator(mode="after")
    def _echoes_can_be_told_apart(self) -> "Range":
        self._needs("echo_pins", "trigger", "echo")
        if self.driver == "echo_pins" and self.trigger == self.echo:
            raise KeyMistakeError("echo", "this is the trigger's pin; each needs its own")
        if self.driver == "echo_pins" and self.rate * LEAST_PING_CYCLE_S > 1.0:
            most = f"{int(1.0 / LEAST_PING_CYCLE_S)} Hz"
            raise KeyMistakeError("rate", f"echoes of one ping must die away before the next; {most} at most")
        return self

    @property
    def no_echo_distance(self) -> float:
        """What the behaviour sees (m) when no echo comes back."""
        return self.most if self.no_echo_reads is None else self.no_echo_reads


class Camera(Device):
    """Camera looking ahead and down. ``distortion`` is that of the lens: k1, k2, p1, p2 and k3 (Brown, 1971)."""

    rate: Frequency = 10.0
    overdue_after: Annotated[Time, POSITIVE] = 0.6
    ahead: Length = 0.10
    height: Annotated[Length, POSITIVE] = 0.22
    tilt: Angle = math.radians(15.0)
    field_of_view: Annotated[Angle, POSITIVE] = math.radians(60.0)
    sees_to: Annotated[Length, POSITIVE] = 2.5
    latency: Time = 0.08
    video: Text = "/dev/video0"
    frame_width: Annotated[StrictInt, Field(gt=0)] = 640
    frame_height: Annotated[StrictInt, Field(gt=0)] = 480
    exposure: Annotated[Time, POSITIVE] | None = None
    gain: Number | None = None
    white_balance: Annotated[Number, POSITIVE] | None = None
    focus: Number | None = None
    distortion: Annotated[tuple[Number, ...], Field(max_length=5)] = ()


SERVO_PERIOD_S = 0.02
"""A servo takes fifty pulses a second."""
FEEDBACK_KEYS: dict[str, tuple[str, ...]] = {
    "none": (),
    "switch": ("feedback_pin",),
    "position": ("feedback_file", "reads_closed", "reads_open"),
    "current": ("feedback_file", "holds_above"),
}
"""What a servo on pins needs to report its jaws, by kind of feedback."""


class Gripper(Device):
    """Servo gripper."""

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

    @model_validator(mode="after")
    def _servo_is_wired(self) -> "Gripper":
        self._needs("servo_pins", "pwm_channel", *FEEDBACK_KEYS[self.feedback])
        if self.reads_open is not None and self.reads_open == self.reads_closed:
            raise KeyMistakeError("reads_open", "the same as 'reads_closed', so it tells nothing")
        for key in ("open", "closed") if self.driver == "servo_pins" else ():
            if getattr(self, key) >= SERVO_PERIOD_S:
                raise KeyMistakeError(key, "a servo pulse is shorter than 20 ms; usual are 1000 us to 2000 us")
        return self


class Battery(Device):
    """Battery monitor."""

    rate: Frequency = 2.0
    overdue_after: Annotated[Time, POSITIVE] = 3.0
    inner_resistance: Resistance = 0.15
    full: Annotated[Voltage, POSITIVE] = 12.6
    load_at_full_duty: Annotated[Current, NOT_NEGATIVE] = 2.0
    file: Text | None = None
    divider: Annotated[Number, POSITIVE] = 1.0
    scale: Annotated[Voltage, POSITIVE] | None = None
    supply_alarm: Text | None = None

    @model_validator(mode="after")
    def _file_is_named(self) -> "Battery":
        self._needs("adc_file", "file")
        return self


class StopInput(Device):
    """Hard-wired stop, normally closed."""

    pin: Pin | None = None
    bias: Literal["pull_up", "pull_down"] = "pull_up"
    settle: Time = 0.05

    @model_validator(mode="after")
    def _pin_is_named(self) -> "StopInput":
        self._needs("stop_pin", "pin")
        return self


class Panel(Model):
    """What the operator finds on the robot itself, by the pins of a GPIO chip."""

    gpio: Text = "/dev/gpiochip0"
    start_button: Pin | None = None
    light: Pin | None = None
    buzzer: Pin | None = None


class Devices(Model):
    """The devices by family; the ones left out are absent."""

    drive: Drive
    counts: Counts
    heading: Heading | None = None
    range: Range | None = None
    camera: Camera | None = None
    gripper: Gripper | None = None
    battery: Battery | None = None
    stop_input: StopInput | None = None

    @property
    def gripper_is_silent(self) -> bool:
        """The gripper only takes commands: nothing is reported, so nothing can be overdue."""
        return self.gripper is None or self.gripper.feedback == "none"

    def fitted(self) -> dict[str, Device]:
        """Return the devices the robot has, by family, in the order of the model."""
        pairs = ((family, getattr(self, family)) for family in type(self).model_fields)
        return {family: device for family, device in pairs if device is not None}


Hue = Annotated[StrictInt, Field(ge=0, le=179)]
Byte = Annotated[StrictInt, Field(ge=0, le=255)]


def _low_end_first(span: tuple[int, int]) -> tuple[int, int]:
    if span[0] > span[1]:
        raise ValueError(f"the low end comes first: [{span[1]}, {span[0]}]; only a hue may cross zero")
    return span


def _shares(span: Span) -> Span:
    if not 0.0 <= span[0] <= span[1] <= 1.0:
        raise ValueError("must lie between 0 % and 100 %")
    return span


def _above_zero(span: Span) -> Span:
    if span[0] <= 0.0:
        raise ValueError("must be more than zero")
    return span


ByteSpan = Annotated[tuple[Byte, Byte], AfterValidator(_low_end_first)]
ShareSpan = Annotated[NumberSpan, AfterValidator(_shares)]
AboveZeroSpan = Annotated[NumberSpan, AfterValidator(_above_zero)]


class Colour(Model):
    """HSV ranges, 8-bit OpenCV scale: hue 0 to 179 and may cross zero ([175, 5]), saturation and value 0 to 255.

    A patch of the colour counts when its size and shape lie within ``area`` (its share of the picture), ``aspect``
    (its width over its height) and ``fill`` (its share of the upright rectangle round it).
    """

    hue: tuple[Hue, Hue]
    saturation: ByteSpan = (80, 255)
    value: ByteSpan = (40, 255)
    area: ShareSpan = (0.00008, 0.5)
    aspect: AboveZeroSpan = (0.25, 12.0)
    fill: ShareSpan = (0.4, 1.0)


class Marker(Model):
    """The plate at the tray, at the camera's height: two colours side by side, as they are seen from the field."""

    left: Name
    right: Name
    width: Annotated[Length, POSITIVE] = 0.1
    height: Annotated[Length, POSITIVE] = 0.1


class LimitSettings(Model):
    """What no behaviour may exceed."""

    speed: Annotated[Speed, POSITIVE] = 0.4
    turn_rate: Annotated[TurnRate, POSITIVE] = math.radians(90.0)
    acceleration: Acceleration = 0.6
    turn_acceleration: TurnAcceleration = 4.0
    deceleration: Acceleration = 1.0
    stop_gap: Annotated[Length, NOT_NEGATIVE] = 0.08
    boundary_margin: Annotated[Length, NOT_NEGATIVE] = 0.0
    resume_after: Time = 0.5
    without_heading: Time = 20.0
    without_counts: Time = 1.0
    hold_backs: int = 20
    hold_backs_within: Time = 60.0
    command_lasts: Annotated[Time, POSITIVE] = 0.25


class Robot(Model):
    """The whole robot file."""

    robot: Text
    loop: Frequency = 50.0
    body: Body
    links: dict[Name, SerialLink] = Field(default_factory=dict)
    devices: Devices
    panel: Panel = Panel()
    colours: dict[Name, Colour] = Field(default_factory=dict)
    marker: Marker | None = None
    limits: LimitSettings = LimitSettings()

    @model_validator(mode="after")
    def _links_exist(self) -> "Robot":
        for family, device in self.devices.fitted().items():
            if device.link is not None and device.link not in self.links:
                why = f"device '{family}' names the link '{device.link}', which 'links:' does not have"
                raise ValueMistakeError(("devices", family, "link"), why + nearest(device.link, self.links))
        return self

    @model_validator(mode="after")
    def _marker_is_of_known_colours(self) -> "Robot":
        if self.marker is not None:
            for half in ("left", "right"):
                if (colour := getattr(self.marker, half)) not in self.colours:
                    why = f"there is no colour '{colour}' in 'colours:'{nearest(colour, self.colours)}"
                    raise ValueMistakeError(("marker", half), why)
            if self.marker.left == self.marker.right:
                raise ValueMistakeError(("marker", "right"), "the marker's halves are of two colours, to be told apart")
        return self
