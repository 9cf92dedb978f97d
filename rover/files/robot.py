"""The robot file: what the machine is. Every key is explained in `config/README.md`."""

import math
from typing import Annotated, Any, Literal

from pydantic import ConfigDict, Field, StrictBool, StrictInt, model_validator

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
    Resistance,
    Share,
    Speed,
    Text,
    Time,
    TurnAcceleration,
    TurnRate,
    ValueMistakeError,
    Voltage,
)


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

    @model_validator(mode="after")
    def _known_keys(self) -> "Device":
        if ":" not in self.driver:
            for key in self.model_extra or {}:
                raise KeyMistakeError(key, f"unknown key{nearest(key, type(self).model_fields)}")
        return self

    @property
    def options(self) -> dict[str, Any]:
        """The device's keys and values for its driver, SI floats."""
        known = self.model_dump()
        return known | {key: types.loose(value) for key, value in (self.model_extra or {}).items()}


class Drive(Device):
    """Two motor channels, the wheels of a side coupled."""

    top_speed: Annotated[Speed, POSITIVE] = 0.6
    dead_band: Share = 0.12
    swap_sides: StrictBool = False
    reverse_left: StrictBool = False
    reverse_right: StrictBool = False


class Counts(Device):
    """Wheel encoders."""

    overdue_after: Annotated[Time, POSITIVE] = 0.2
    swap_sides: StrictBool = False
    reverse_left: StrictBool = False
    reverse_right: StrictBool = False


class Heading(Device):
    """Absolute-orientation sensor or compass."""

    rate: Frequency = 20.0
    offset: Angle = 0.0
    sigma: Annotated[Angle, POSITIVE] = math.radians(2.0)


class Range(Device):
    """Ultrasonic range finder looking ahead."""

    rate: Frequency = 15.0
    ahead: Length = 0.12
    least: Annotated[Length, NOT_NEGATIVE] = 0.03
    most: Annotated[Length, POSITIVE] = 4.0
    beam: Annotated[Angle, POSITIVE] = math.radians(30.0)
    no_echo_reads: Annotated[Length, POSITIVE] | None = None

    @property
    def no_echo_distance(self) -> float:
        """What the behaviour sees (m) when no echo comes back."""
        return self.most if self.no_echo_reads is None else self.no_echo_reads


class Camera(Device):
    """Camera looking ahead and down."""

    rate: Frequency = 10.0
    overdue_after: Annotated[Time, POSITIVE] = 0.6
    ahead: Length = 0.10
    height: Annotated[Length, POSITIVE] = 0.22
    tilt: Angle = math.radians(15.0)
    field_of_view: Annotated[Angle, POSITIVE] = math.radians(60.0)
    sees_to: Annotated[Length, POSITIVE] = 2.5
    latency: Time = 0.08


class Gripper(Device):
    """Servo gripper."""

    open: Annotated[Time, POSITIVE] = 0.0019
    closed: Annotated[Time, POSITIVE] = 0.0011
    travel_time: Annotated[Time, POSITIVE] = 0.6
    feedback: Literal["none", "position", "current", "switch"] = "none"
    on_stop: Literal["hold", "release", "limp"] = "hold"


class Battery(Device):
    """Battery monitor."""

    rate: Frequency = 2.0
    overdue_after: Annotated[Time, POSITIVE] = 3.0
    inner_resistance: Resistance = 0.15
    full: Annotated[Voltage, POSITIVE] = 12.6
    load_at_full_duty: Annotated[Current, NOT_NEGATIVE] = 2.0


class StopInput(Device):
    """Hard-wired stop, normally closed."""


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


class Colour(Model):
    """HSV ranges, 8-bit OpenCV scale: hue 0 to 179 and may cross zero ([175, 5]), saturation and value 0 to 255."""

    hue: tuple[Hue, Hue]
    saturation: tuple[Byte, Byte] = (80, 255)
    value: tuple[Byte, Byte] = (40, 255)


class Limits(Model):
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
    colours: dict[Name, Colour] = Field(default_factory=dict)
    limits: Limits = Limits()

    @model_validator(mode="after")
    def _links_exist(self) -> "Robot":
        for family, device in self.devices.fitted().items():
            if device.link is not None and device.link not in self.links:
                why = f"device '{family}' names the link '{device.link}', which 'links:' does not have"
                raise ValueMistakeError(("devices", family, "link"), why + nearest(device.link, self.links))
        return self
