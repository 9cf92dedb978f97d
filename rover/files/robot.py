"""The robot file: what the machine is. Every key is explained in `config/README.md`."""

import math
from typing import Annotated, NamedTuple

from pydantic import AfterValidator, BeforeValidator, Field, model_validator

from rover import quantities
from rover.devices.families import FAMILIES, TAKEN, Devices, reporting
from rover.devices.outputs.keys import OutputKeys
from rover.devices.panel.keys import PanelKeys
from rover.devices.range.keys import RangeKeys
from rover.files.page import PageKeys
from rover.files.problems import nearest
from rover.files.types import (
    NOT_NEGATIVE,
    POSITIVE,
    AboveZeroSpan,
    Acceleration,
    Data,
    Due,
    FilePath,
    Frequency,
    KeyMistakeError,
    Length,
    Model,
    Name,
    Number,
    Share,
    ShareSpan,
    Speed,
    Text,
    Time,
    TurnAcceleration,
    TurnRate,
    ValueMistakeError,
    WholeNumber,
    must,
    why_no_name,
)
from rover.quantities import si

NEAR_THE_MIDDLE = must(lambda way: abs(way) <= si("10 cm"), "must lie within 10 cm of the middle, either way")


class Body(Model):
    """Measures of the chassis. The pose is that of the point midway between the wheels."""

    wheel_diameter: Annotated[Length, POSITIVE]
    """Diameter of the driven wheels, loaded."""
    track: Annotated[Length, POSITIVE]
    """Between the middles of the left and the right wheels."""
    counts_per_rev: Annotated[Number, POSITIVE]
    """Encoder counts in one turn of a wheel, as the driver delivers them."""
    gripper_reach: Annotated[Length, POSITIVE]
    """From the middle forward to where a held jar's middle is."""
    length: Annotated[Length, POSITIVE] = si("24 cm")
    """Of the body without the jaws."""
    width: Annotated[Length, POSITIVE] = si("26 cm")
    """Of the body, wheels included."""
    track_factor: Annotated[Number, POSITIVE] = 1.5
    """How many times wider the base turns as; the pose filter refines it while driving."""
    turn_ahead: Annotated[Length, NEAR_THE_MIDDLE] = si("0 mm")
    """How far ahead of the middle the point lies about which the base turns, see below."""
    turn_left: Annotated[Length, NEAR_THE_MIDDLE] = si("0 mm")
    """How far to the left of it."""

    @property
    def metres_per_count(self) -> float:
        """Wheel travel in one encoder count (m)."""
        return math.pi * self.wheel_diameter / self.counts_per_rev

    @property
    def turn_centre(self) -> tuple[float, float]:
        """The point about which the base turns: ahead of the middle, and to its left (m)."""
        return self.turn_ahead, self.turn_left

    @property
    def states_turn_centre(self) -> bool:
        """Whether the file says where it is."""
        return not self.model_fields_set.isdisjoint(("turn_ahead", "turn_left"))

    @property
    def effective_track(self) -> float:
        """Track (m) as which a skid-steer base turns: the geometric one times ``track_factor``."""
        return self.track * self.track_factor


BAUD = 115200
"""Bits a second of a serial line for which no other rate is given."""


class SerialLink(Model):
    """A serial line to a co-processor or a compass."""

    port: FilePath
    """The serial port, such as `/dev/ttyUSB0`."""
    baud: Annotated[WholeNumber, Field(gt=0)] = BAUD
    """Bits in a second."""


HUE = must(
    lambda hue: 0 <= hue <= 179,
    "a hue lies between 0 and 179 here, half the degrees of a colour wheel; write half of it",
)
Hue = Annotated[WholeNumber, HUE, Field(ge=0, le=179)]
Byte = Annotated[WholeNumber, Field(ge=0, le=255)]


def _low_end_first(span: tuple[int, int]) -> tuple[int, int]:
    if span[0] > span[1]:
        raise ValueError(f"the low end comes first: [{span[1]}, {span[0]}]; only a hue may cross zero")
    return span


ByteSpan = Annotated[tuple[Byte, Byte], AfterValidator(_low_end_first), Due("0 to 255")]


class Colour(Model):
    """HSV ranges on the 8-bit OpenCV scale, and within what the size and shape of a patch of the colour have to lie."""

    hue: Annotated[tuple[Hue, Hue], Due("0 to 179")]
    """May cross zero: `[175, 5]`."""
    saturation: ByteSpan = (80, 255)
    """From grey to the pure colour."""
    value: ByteSpan = (40, 255)
    """From black to full light."""
    area: ShareSpan = (si("0.008 %"), si("50 %"))
    """Of the picture that a patch of this colour may take: the rest is specks and walls."""
    aspect: AboveZeroSpan = (0.25, 12.0)
    """Its width over its height."""
    fill: ShareSpan = (si("40 %"), si("100 %"))
    """Of the upright rectangle round it: a lid fills it well, a leaf or a cable does not."""


class Marker(Model):
    """The plate at the tray, at the camera's height: two colours side by side, as they are seen from the field."""

    left: Name
    """Colour of the left half, one of `colours`."""
    right: Name
    """Colour of the right half, another one."""
    width: Annotated[Length, POSITIVE] = si("10 cm")
    """Of both halves together."""
    height: Annotated[Length, POSITIVE] = si("10 cm")
    """Its apparent size tells the distance; seen aslant, its height alone does."""


class Going(NamedTuple):
    """How the robot goes on without a device: for so many seconds, and whether slowly meanwhile."""

    seconds: float
    slowly: bool = False


NEVER, SLOWLY, FREELY = Going(0.0), Going(math.inf, slowly=True), Going(math.inf)
GOING = {"never": NEVER, "slowly": SLOWLY, "freely": FREELY}
"""By the words of the robot file."""


def _going(value: object) -> Going:
    if isinstance(value, Going):
        return value
    if isinstance(value, str) and value in GOING:
        return GOING[value]
    try:
        seconds = quantities.parse_as(value, quantities.TIME)
    except quantities.QuantityError:
        raise ValueError("how it goes on without: 'never', 'slowly', 'freely', or a time, such as 2 s") from None
    if seconds < 0.0:
        raise ValueError("a time must not be negative")
    return Going(seconds)


Without = Annotated[Going, BeforeValidator(_going)]


class LimitSettings(Model):
    """What no behaviour may exceed."""

    speed: Annotated[Speed, POSITIVE] = si("0.4 m/s")
    """Never faster."""
    turn_rate: Annotated[TurnRate, POSITIVE] = si("90 deg/s")
    """Never faster."""
    acceleration: Acceleration = si("0.6 m/s^2")
    """Ramp when speeding up."""
    deceleration: Acceleration = si("1 m/s^2")
    """Ramp when slowing down, and the braking that the obstacle limit counts on."""
    turn_acceleration: TurnAcceleration = si("4 rad/s^2")
    """Ramp of the turn rate."""
    stop_gap: Annotated[Length, NOT_NEGATIVE] = si("8 cm")
    """Room left before something ahead, measured from the front of body or jaws."""
    contact_speed: Annotated[Speed, POSITIVE] = si("15 cm/s")
    """Never faster where something may be touched: with less room before a wall than is due, closing in, going
    `slowly`, or in an errand where no range finder looks, ahead or back, or neither body nor echoes have shown the
    ground to be free. Of a turn on the spot it is the speed of the farthest corner."""
    boundary_margin: Annotated[Length, NOT_NEGATIVE] = si("0 m")
    """The outline stays so far inside the field's boundary and off known walls, see below."""
    resume_after: Time = si("500 ms")
    """A hold-back ends when its cause has been gone for so long; until then it takes away the same motions."""
    without: Annotated[dict[Name, Without], Due("words or times by device")] = Field(default_factory=dict)
    """How the robot goes on while a device is missing."""
    hold_backs: Annotated[WholeNumber, POSITIVE] = 20
    """So many hold-backs ..."""
    hold_backs_within: Time = si("60 s")
    """... within so long latch a stop."""
    stalls: Annotated[WholeNumber, POSITIVE] = 5
    """So many times that wheels are driven and do not turn ..."""
    stalls_within: Time = si("60 s")
    """... within so long latch a stop."""
    command_lasts: Annotated[Time, POSITIVE] = si("250 ms")
    """A drive command that is not followed by another ends after so long: wheels at zero."""


class RecordKeys(Model):
    """What records of runs keep, and how much of it."""

    frames: Frequency = si("1 Hz")
    """So many of the camera's frames are kept in a second of the run, as JPEG files beside the record."""
    quality: Share = si("85 %")
    """Of their compression: the less, the smaller and the coarser they are."""
    keep: Data = si("4 GB")
    """So much room all records in a folder take, with their frames: before a run the oldest go, see below."""


class Robot(Model):
    """The whole robot file."""

    robot: Text
    """The robot's name."""
    loop: Frequency = si("50 Hz")
    """Steps of the loop in a second."""
    body: Body
    """Measures of the chassis."""
    links: dict[Name, SerialLink] = Field(default_factory=dict)
    """Serial lines."""
    devices: Devices
    """The devices fitted."""
    outputs: dict[Name, OutputKeys] = Field(default_factory=dict)
    """[Outputs of your own](#outputs-of-your-own)."""
    panel: PanelKeys = PanelKeys()
    """Start button, light and buzzer."""
    page: PageKeys = PageKeys()
    """The [operator page](#page)."""
    colours: dict[Name, Colour] = Field(default_factory=dict)
    """What the lids' colours look like to this camera."""
    marker: Marker | None = None
    """What the plate at the tray looks like."""
    limits: LimitSettings = LimitSettings()
    """What no behaviour may exceed."""
    record: RecordKeys = RecordKeys()
    """What records of runs keep."""

    def going_without(self, name: str) -> Going:
        """Return how the robot goes on while a device is missing: what holds it back it goes slowly without."""
        if name in self.limits.without:
            return self.limits.without[name]
        if name in FAMILIES:
            return _going(FAMILIES[name].without)
        device = self.devices.further[name]
        holds_back = isinstance(device, RangeKeys) or getattr(device, "contact", None) is not None
        return SLOWLY if holds_back else FREELY

    @model_validator(mode="after")
    def _links_exist(self) -> "Robot":
        for family, device in self.devices.fitted().items():
            if device.on_link is not None and device.on_link not in self.links:
                why = f"device '{family}' names the link '{device.on_link}', which 'links:' does not have"
                raise ValueMistakeError(("devices", family, "link"), why + nearest(device.on_link, self.links))
        return self

    @model_validator(mode="after")
    def _outputs_have_names_of_their_own(self) -> "Robot":
        for name in self.outputs:
            if why := why_no_name(name, (*TAKEN, *self.devices.fitted())):
                raise ValueMistakeError(("outputs", name), f"no name for an output: {why}")
        return self

    @model_validator(mode="after")
    def _has_what_it_may_be_without(self) -> "Robot":
        known = reporting(self.devices)
        for name, going in self.limits.without.items():
            if name not in known:
                why = f"the robot has no '{name}' under 'devices:' that could be missing{nearest(name, known)}"
                raise KeyMistakeError(("limits", "without", name), why)
            if name == "stop_input" and going != NEVER:
                why = "never: nobody could be heard calling for a stop"
                raise ValueMistakeError(("limits", "without", name), why)
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
