"""The robot file: what the machine is. Every key is explained in `config/README.md`."""

import math
from typing import Annotated, NamedTuple

from pydantic import AfterValidator, BeforeValidator, ConfigDict, Field, StrictInt, model_validator

from rover import quantities
from rover.devices.families import TAKEN, Devices
from rover.devices.outputs.keys import OutputKeys
from rover.devices.panel.keys import PanelKeys
from rover.files.problems import nearest
from rover.files.types import (
    NOT_NEGATIVE,
    POSITIVE,
    AboveZeroSpan,
    Acceleration,
    Frequency,
    Length,
    Model,
    Name,
    Number,
    ShareSpan,
    Speed,
    Text,
    Time,
    TurnAcceleration,
    TurnRate,
    ValueMistakeError,
    must,
    why_no_name,
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


Hue = Annotated[StrictInt, Field(ge=0, le=179)]
Byte = Annotated[StrictInt, Field(ge=0, le=255)]


def _low_end_first(span: tuple[int, int]) -> tuple[int, int]:
    if span[0] > span[1]:
        raise ValueError(f"the low end comes first: [{span[1]}, {span[0]}]; only a hue may cross zero")
    return span


ByteSpan = Annotated[tuple[Byte, Byte], AfterValidator(_low_end_first)]


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


class Going(NamedTuple):
    """How the robot goes on without a device: for so many seconds, and whether slowly meanwhile."""

    seconds: float
    slowly: bool = False


NEVER, SLOWLY, FREELY = Going(0.0), Going(math.inf, slowly=True), Going(math.inf)
_GOING = {"never": NEVER, "slowly": SLOWLY, "freely": FREELY}


def _going(value: object) -> Going:
    if isinstance(value, Going):
        return value
    if isinstance(value, str) and value in _GOING:
        return _GOING[value]
    try:
        seconds = quantities.parse_as(value, quantities.TIME)
    except quantities.QuantityError:
        raise ValueError("how it goes on without: 'never', 'slowly', 'freely', or a time, such as 2 s") from None
    if seconds < 0.0:
        raise ValueError("a time must not be negative")
    return Going(seconds)


Without = Annotated[Going, BeforeValidator(_going)]


class WithoutDevices(Model):
    """How the robot goes on while a device that it has is overdue or faulty; further devices by their names."""

    model_config = ConfigDict(extra="allow")
    __pydantic_extra__: dict[str, Without] = Field(init=False)

    counts: Without = Going(1.0)
    heading: Without = Going(20.0)
    range: Without = SLOWLY
    camera: Without = FREELY
    gripper: Without = FREELY
    battery: Without = FREELY
    stop_input: Annotated[
        Without, must(lambda going: going == NEVER, "never: nobody could be heard calling for a stop")
    ] = NEVER


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
    without: WithoutDevices = WithoutDevices()
    contact_speed: Annotated[Speed, POSITIVE] = 0.15
    hold_backs: Annotated[StrictInt, POSITIVE] = 20
    hold_backs_within: Time = 60.0
    stalls: Annotated[StrictInt, POSITIVE] = 5
    stalls_within: Time = 60.0
    command_lasts: Annotated[Time, POSITIVE] = 0.25


class Robot(Model):
    """The whole robot file."""

    robot: Text
    loop: Frequency = 50.0
    body: Body
    links: dict[Name, SerialLink] = Field(default_factory=dict)
    devices: Devices
    outputs: dict[Name, OutputKeys] = Field(default_factory=dict)
    panel: PanelKeys = PanelKeys()
    colours: dict[Name, Colour] = Field(default_factory=dict)
    marker: Marker | None = None
    limits: LimitSettings = LimitSettings()

    def going_without(self, name: str) -> Going:
        """Return how the robot goes on while a device is missing: what holds it back it goes slowly without."""
        if name in WithoutDevices.model_fields or name in (self.limits.without.model_extra or {}):
            going: Going = getattr(self.limits.without, name)
            return going
        device = self.devices.further[name]
        holds_back = self.devices.family_of(name) == "range" or getattr(device, "contact", None) is not None
        return SLOWLY if holds_back else FREELY

    @model_validator(mode="after")
    def _links_exist(self) -> "Robot":
        for family, device in self.devices.fitted().items():
            if device.link is not None and device.link not in self.links:
                why = f"device '{family}' names the link '{device.link}', which 'links:' does not have"
                raise ValueMistakeError(("devices", family, "link"), why + nearest(device.link, self.links))
        return self

    @model_validator(mode="after")
    def _outputs_have_names_of_their_own(self) -> "Robot":
        for name in self.outputs:
            if why := why_no_name(name, (*TAKEN, *self.devices.fitted())):
                raise ValueMistakeError(("outputs", name), f"no name for an output: {why}")
        return self

    @model_validator(mode="after")
    def _has_what_it_may_be_without(self) -> "Robot":
        for family in self.limits.without.model_fields_set:
            if family not in self.devices.fitted():
                why = f"the robot has no '{family}' under 'devices:'{nearest(family, self.devices.fitted())}"
                raise ValueMistakeError(("limits", "without", family), why)
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
