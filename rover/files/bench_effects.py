"""The blocks of a bench file that say what goes wrong on a floor, and within which bounds."""

from typing import Annotated

from pydantic import Field

from rover.files.robot import Byte, Hue
from rover.files.types import (
    NOT_NEGATIVE,
    POSITIVE,
    SPAN_ABOVE_ZERO,
    AboveZeroSpan,
    Angle,
    AngleSpan,
    Current,
    Due,
    Length,
    LengthSpan,
    Model,
    Name,
    NumberSpan,
    Point,
    Share,
    ShareSpan,
    Time,
    TimeSpan,
    TurnRate,
    WholeNumber,
    must,
)
from rover.quantities import si

_FROM_ZERO = must(lambda span: span[0] >= 0.0, "must not be negative")
_BELOW_ONE = must(lambda span: span[1] < 1.0, "must be less than 100 %")

SomeTimeSpan = Annotated[TimeSpan, SPAN_ABOVE_ZERO]
DelaySpan = Annotated[TimeSpan, _FROM_ZERO]
SomeLengthSpan = Annotated[LengthSpan, _FROM_ZERO]
SomeAngleSpan = Annotated[AngleSpan, _FROM_ZERO]
SomeAngle = Annotated[Angle, NOT_NEGATIVE]


class Floor(Model):
    """What the ground does to wheels and to the heading sensor."""

    track_factor: AboveZeroSpan = (1.2, 1.9)
    """How many times the geometric track the base really turns as (skid steering)."""
    turn_ahead: LengthSpan = (si("-2 cm"), si("2 cm"))
    """How far ahead of the wheels' middle the point lies about which the base turns."""
    turn_left: LengthSpan = (si("-1 cm"), si("1 cm"))
    """How far to the left of it."""
    turn_wander: SomeLengthSpan = (si("2 mm"), si("10 mm"))
    """How far that point is from where it usually is, either way (standard deviation), from one radian to the next."""
    slip: Annotated[ShareSpan, _BELOW_ONE] = (si("0 %"), si("3 %"))
    """Share of a wheel's way that is lost, each side by itself, all the time."""
    slip_every: Time = si("40 s")
    """Mean time between bursts in which one side loses its hold."""
    slip_burst: ShareSpan = (si("20 %"), si("60 %"))
    """Share of that side's way lost in a burst; drawn for each."""
    slip_lasts: SomeTimeSpan = (si("200 ms"), si("800 ms"))
    """How long a burst lasts; drawn for each."""
    heading_bias: SomeAngle = si("1 deg")
    """Largest error of the heading sensor by place (iron)."""
    bias_scale: Annotated[LengthSpan, SPAN_ABOVE_ZERO] = (si("70 cm"), si("1.6 m"))
    """Way over which that error goes from none to its largest."""
    bias_step: SomeAngle = si("1 deg")
    """Largest step by which the error jumps, either way."""
    bias_step_every: Time = si("5 min")
    """Mean time between steps."""


class OffTheMap(Model):
    """What is not where the errand's map has it."""

    start: SomeLengthSpan = (si("0 cm"), si("2 cm"))
    """How far from its start the robot is set down, in any direction."""
    turned: AngleSpan = (si("-2 deg"), si("2 deg"))
    """By how much it is turned to the left there."""
    walls: LengthSpan = (si("-1 cm"), si("1 cm"))
    """How far each of the map's walls stands off its line, to its left."""
    marker: SomeLengthSpan = (si("0 cm"), si("1 cm"))
    """How far from its place the tray's marker stands, in any direction."""


class Lip(Model):
    """A lip on the floor, such as a door's: each side of the base has to get over it."""

    ends: tuple[Point, Point]
    """Where it begins and ends, in the field."""
    duty: ShareSpan = (si("20 %"), si("35 %"))
    """Duty below which a side does not get over it: the wheels stand, as before a wall."""
    jolt: AngleSpan = (si("-2 deg"), si("2 deg"))
    """By how much a side that gets over turns the robot; drawn each time. Half the speed is lost."""


class Motors(Model):
    """What cheap motors do."""

    mismatch: ShareSpan = (si("0 %"), si("15 %"))
    """Difference between the two sides' speeds at equal duty."""
    dead_band: Annotated[ShareSpan, _BELOW_ONE] = (si("10 %"), si("20 %"))
    """Duty below which a side does not move; drawn for each side."""
    lag: SomeTimeSpan = (si("80 ms"), si("150 ms"))
    """Time constant of the speed."""


class Supply(Model):
    """The battery."""

    charge: ShareSpan = (si("90 %"), si("100 %"))
    """Charge at the start. An empty battery stands at 78 % of the full voltage."""
    lasts: SomeTimeSpan = (si("60 min"), si("120 min"))
    """Time a full charge lasts at full load."""
    resistance_factor: Annotated[NumberSpan, _FROM_ZERO] = (0.8, 1.3)
    """True inner resistance as a multiple of the robot file's."""
    idle: Annotated[Current, NOT_NEGATIVE] = si("0.3 A")
    """Current with the motors off."""


class CountErrors(Model):
    """Shares of the encoder counts that are missed, and added, on each side."""

    missed: ShareSpan = (si("0 %"), si("1 %"))
    """Share of the encoder counts missed, each side by itself."""
    added: ShareSpan = (si("0 %"), si("1 %"))
    """Share of them added, each side by itself."""


class HeadingErrors(Model):
    """Errors of the heading sensor itself; what the place does to it is under `Floor`."""

    noise: SomeAngle = si("1 deg")
    """Standard deviation of each report."""
    rate_noise: Annotated[TurnRate, NOT_NEGATIVE] = si("0.5 deg/s")
    """The same of the turn rate."""
    drift: SomeAngle = si("1 deg")
    """Standard deviation of a slow wandering."""
    drift_time: SomeTimeSpan = (si("3 min"), si("9 min"))
    """Its time constant."""


class RangeErrors(Model):
    """Errors of the range finder."""

    noise: Annotated[Length, NOT_NEGATIVE] = si("1 cm")
    """Standard deviation of a distance."""
    missing: Share = si("10 %")
    """Chance that no echo comes back."""
    stray: Share = si("1 %")
    """Chance of an echo from nowhere, at any distance."""
    specular_beyond: SomeAngleSpan = (si("25 deg"), si("40 deg"))
    """Angle of incidence from which a wall gives no echo."""


class CameraErrors(Model):
    """Errors of the camera and of what is made of its frames."""

    latency: DelaySpan = (si("60 ms"), si("120 ms"))
    """From the shutter to the report."""
    pitch_noise: SomeAngle = si("0.5 deg")
    """Standard deviation of the camera's pitch in a frame; it becomes an error of distance."""
    dip: SomeAngle = si("1 deg")
    """Pitch at 1 m/s^2: nose up when speeding up, things seem nearer."""
    bearing_noise: SomeAngle = si("0.3 deg")
    """Standard deviation of a bearing."""
    blur_at: Annotated[TurnRate, POSITIVE] = si("60 deg/s")
    """Turn rate at which the chance to see an object is halved."""
    missed: Share = si("5 %")
    """Chance that an object in sight is not found in a frame."""
    false: Share = si("0.5 %")
    """Chance that a frame has a detection of nothing."""
    flicker: Share = si("85 %")
    """Share of the detections lost during a burst of flicker."""
    flicker_every: Time = si("8 s")
    """Mean time between bursts."""
    flicker_lasts: SomeTimeSpan = (si("200 ms"), si("800 ms"))
    """Their length."""
    nearest: SomeLengthSpan = (si("8 cm"), si("12 cm"))
    """Nearest ground distance at which a jar is seen; nor is one seen that the picture's lower edge leaves out."""
    farthest_factor: AboveZeroSpan = (0.85, 1.1)
    """True limit of sight as a multiple of the robot file's `sees_to`."""
    marker_noise: ShareSpan = (si("1.5 %"), si("2.5 %"))
    """Error of the distance to the tray's marker, as a share of it at 1 m, growing with it."""


class Rendering(Model):
    """What a rendered camera sees besides the objects: light, floor, and the camera's own picture errors."""

    frame_width: Annotated[WholeNumber, Field(ge=80, le=1920)] = 320
    """Size of a frame in pixels; the robot file's is for a real camera."""
    frame_height: Annotated[WholeNumber, Field(ge=60, le=1440)] = 240
    """The same."""
    light: AboveZeroSpan = (0.85, 1.05)
    """Brightness, as a factor of the usual one."""
    light_change: Share = si("10 %")
    """Height of a slow wave on the brightness."""
    light_time: Annotated[Time, POSITIVE] = si("1 min")
    """Its period."""
    cast: NumberSpan = (si("-4 %"), si("4 %"))
    """White balance: red is so much too bright and blue as much too dark."""
    cast_drift: Share = si("3 %")
    """Height of a slow wave on the white balance."""
    cast_time: Annotated[Time, POSITIVE] = si("90 s")
    """Its period."""
    exposure: Time = si("10 ms")
    """How long the shutter is open: what turns meanwhile is blurred."""
    noise: Share = si("1.2 %")
    """Standard deviation of a pixel, as a share of full brightness."""
    shadow: Share = si("40 %")
    """How much light is missing in shadows: under jars, and in bands across the floor."""
    leaves: Annotated[WholeNumber, Field(ge=0)] = 40
    """Leaves on the floor: yellow-green to green, between the lids' amber and teal."""
    pots: Annotated[WholeNumber, Field(ge=0)] = 6
    """Clay pots along the field's edge, a little redder than amber. They are pictures only: nothing bumps into them."""
    lids: Annotated[dict[Name, tuple[Hue, Byte, Byte]], Due("lists by colour")] = Field(default_factory=dict)
    """True colours, `{amber: [22, 205, 200]}`: hue, saturation and value on the robot file's scale. Those not given
    have the middle of the robot's hue range."""


class LinkErrors(Model):
    """What the serial link does to devices that name one. In a stall the reports wait and come late together."""

    latency: DelaySpan = (si("2 ms"), si("8 ms"))
    """From the measurement to the report."""
    stall_every: Time = si("30 s")
    """Mean time between stalls."""
    stall_lasts: SomeTimeSpan = (si("100 ms"), si("1 s"))
    """Their length: reports wait and come together."""


class GripErrors(Model):
    """What goes wrong at the jaws."""

    missed: Share = si("8 %")
    """Chance that the closing jaws knock the jar away."""
    pushed: SomeLengthSpan = (si("1 cm"), si("5 cm"))
    """How far it then goes beyond the jaws' tips; drawn each time."""
    dropped: Share = si("2 %")
    """Chance that a held jar slips out on the way."""
    dropped_after: DelaySpan = (si("2 s"), si("20 s"))
    """When it does, counted from the grip."""
