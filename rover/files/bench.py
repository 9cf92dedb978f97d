"""The bench file: the floor, objects and faults of a rehearsal. Every key is explained in `config/README.md`.

A span ``[low, high]`` is drawn from once per seed (uniformly); a single value is a span of no width.
"""

import math
import re
from typing import Annotated, Any, Self

from pydantic import BeforeValidator, Field, StrictInt, model_validator

from rover.files.errand import Errand
from rover.files.faults import FaultLine
from rover.files.problems import nearest
from rover.files.robot import Byte, Hue
from rover.files.types import (
    NOT_NEGATIVE,
    POSITIVE,
    SPAN_ABOVE_ZERO,
    AboveZeroSpan,
    Angle,
    AngleSpan,
    Current,
    KeyMistakeError,
    Length,
    LengthSpan,
    Model,
    Name,
    NumberSpan,
    Point,
    Share,
    ShareSpan,
    Text,
    Time,
    TimeSpan,
    TurnRate,
    ValueMistakeError,
    loose,
    must,
)
from rover.files.yaml_source import KeyPath

DEGREE = math.pi / 180.0

_FROM_ZERO = must(lambda span: span[0] >= 0.0, "must not be negative")
_BELOW_ONE = must(lambda span: span[1] < 1.0, "must be less than 100 %")

SomeTimeSpan = Annotated[TimeSpan, SPAN_ABOVE_ZERO]
DelaySpan = Annotated[TimeSpan, _FROM_ZERO]
SomeLengthSpan = Annotated[LengthSpan, _FROM_ZERO]
SomeAngleSpan = Annotated[AngleSpan, _FROM_ZERO]
SomeAngle = Annotated[Angle, NOT_NEGATIVE]


class Floor(Model):
    """What the ground does to wheels and to the heading sensor. ``slip_*``: bursts in which one side loses its hold."""

    track_factor: AboveZeroSpan = (1.2, 1.9)
    slip: Annotated[ShareSpan, _BELOW_ONE] = (0.0, 0.03)
    slip_every: Time = 40.0
    slip_burst: ShareSpan = (0.2, 0.6)
    slip_lasts: SomeTimeSpan = (0.2, 0.8)
    heading_bias: SomeAngle = DEGREE
    bias_scale: Annotated[Length, POSITIVE] = 1.0
    bias_step: SomeAngle = DEGREE
    bias_step_every: Time = 300.0


class Motors(Model):
    """What cheap motors do. ``mismatch`` is the difference between the two sides' gains."""

    mismatch: ShareSpan = (0.0, 0.15)
    dead_band: Annotated[ShareSpan, _BELOW_ONE] = (0.10, 0.20)
    lag: SomeTimeSpan = (0.08, 0.15)


class Supply(Model):
    """The battery. ``lasts`` is the time a full charge lasts at full load."""

    charge: ShareSpan = (0.9, 1.0)
    lasts: SomeTimeSpan = (3600.0, 7200.0)
    resistance_factor: Annotated[NumberSpan, _FROM_ZERO] = (0.8, 1.3)
    idle: Annotated[Current, NOT_NEGATIVE] = 0.3


class CountErrors(Model):
    """Shares of the encoder counts that are missed, and added, on each side."""

    missed: ShareSpan = (0.0, 0.01)
    added: ShareSpan = (0.0, 0.01)


class HeadingErrors(Model):
    """Errors of the heading sensor itself; what the place does to it is under `Floor`."""

    noise: SomeAngle = DEGREE
    rate_noise: Annotated[TurnRate, NOT_NEGATIVE] = 0.5 * DEGREE
    drift: SomeAngle = DEGREE
    drift_time: Annotated[Time, POSITIVE] = 300.0


class RangeErrors(Model):
    """Errors of the range finder. ``specular_beyond``: angle of incidence from which a wall gives no echo."""

    noise: Annotated[Length, NOT_NEGATIVE] = 0.01
    missing: Share = 0.10
    stray: Share = 0.01
    specular_beyond: SomeAngleSpan = (25.0 * DEGREE, 40.0 * DEGREE)


class CameraErrors(Model):
    """Errors of the camera and of what is made of its frames.

    ``dip`` is the pitch at 1 m/s^2; ``blur_at`` the turn rate at which the chance to see an object is halved;
    ``flicker`` the share of detections lost in a burst; ``marker_noise`` the error of the tray's marker's distance, as
    a share of it at 1 m and growing with it.
    """

    latency: DelaySpan = (0.06, 0.12)
    pitch_noise: SomeAngle = 0.5 * DEGREE
    dip: SomeAngle = DEGREE
    bearing_noise: SomeAngle = 0.3 * DEGREE
    blur_at: Annotated[TurnRate, POSITIVE] = 60.0 * DEGREE
    missed: Share = 0.05
    false: Share = 0.005
    flicker: Share = 0.85
    flicker_every: Time = 8.0
    flicker_lasts: SomeTimeSpan = (0.2, 0.8)
    nearest: SomeLengthSpan = (0.08, 0.12)
    farthest_factor: AboveZeroSpan = (0.85, 1.1)
    marker_noise: Share = 0.02


class Rendering(Model):
    """What a rendered camera sees besides the objects: light, floor, and the camera's own picture errors.

    ``light``: brightness as a factor of the usual one; ``light_change`` a slow wave on it, as a share, of period
    ``light_time``. ``cast``: share by which red is too bright and blue too dark; ``cast_drift`` and ``cast_time`` as
    with the light. ``noise``: standard deviation of a pixel, as a share of full brightness. ``lids``: true colours by
    their names, hue, saturation and value as in the robot file.
    """

    frame_width: Annotated[StrictInt, Field(ge=80, le=1920)] = 320
    frame_height: Annotated[StrictInt, Field(ge=60, le=1440)] = 240
    light: AboveZeroSpan = (0.85, 1.05)
    light_change: Share = 0.10
    light_time: Annotated[Time, POSITIVE] = 60.0
    cast: NumberSpan = (-0.04, 0.04)
    cast_drift: Share = 0.03
    cast_time: Annotated[Time, POSITIVE] = 90.0
    exposure: Time = 0.010
    noise: Share = 0.012
    shadow: Share = 0.4
    leaves: Annotated[StrictInt, Field(ge=0)] = 40
    pots: Annotated[StrictInt, Field(ge=0)] = 6
    lids: dict[Name, tuple[Hue, Byte, Byte]] = Field(default_factory=dict)


class LinkErrors(Model):
    """What the serial link does to devices that name one. In a stall the reports wait and come late together."""

    latency: DelaySpan = (0.002, 0.008)
    stall_every: Time = 30.0
    stall_lasts: SomeTimeSpan = (0.1, 1.0)


class GripErrors(Model):
    """What goes wrong at the jaws: a grip missed pushes the jar by ``pushed``; ``dropped`` is the chance per carry."""

    missed: Share = 0.08
    pushed: SomeLengthSpan = (0.01, 0.05)
    dropped: Share = 0.02
    dropped_after: DelaySpan = (2.0, 20.0)


class PlacedObject(Model):
    """An object at a stated place."""

    kind: Name
    x: Length
    y: Length


class Post(Model):
    """A round obstacle that the errand's map does not have."""

    x: Length
    y: Length
    radius: Annotated[Length, POSITIVE] = 0.05


OWN_CLASS = re.compile(r"[^\W\d]\w*(\.[^\W\d]\w*)*:[^\W\d]\w*")
PLACED = ("objects", "scatter", "walls", "obstacles")
"""What stands where: of use to any simulation."""


class BenchFile(Model):
    """The whole bench file. Of the built-in bench, or with ``simulation`` of one of a person's own."""

    bench: Text
    simulation: Annotated[Text, must(OWN_CLASS.fullmatch, "the class is named as package.module:Class")] | None = None
    options: Annotated[dict[str, Any], BeforeValidator(loose)] = Field(default_factory=dict)
    floor: Floor = Floor()
    motors: Motors = Motors()
    battery: Supply = Supply()
    counts: CountErrors = CountErrors()
    heading: HeadingErrors = HeadingErrors()
    range: RangeErrors = RangeErrors()
    camera: CameraErrors = CameraErrors()
    rendering: Rendering = Rendering()
    link: LinkErrors = LinkErrors()
    gripper: GripErrors = GripErrors()
    objects: list[PlacedObject] = Field(default_factory=list)
    scatter: dict[Name, Annotated[StrictInt, Field(ge=0)]] = Field(default_factory=dict)
    walls: list[tuple[Point, Point]] = Field(default_factory=list)
    obstacles: list[Post] = Field(default_factory=list)
    faults: list[FaultLine] = Field(default_factory=list)

    @property
    def jar_count(self) -> int:
        """How many objects the bench has; they are numbered from 1, the stated ones first."""
        return len(self.objects) + sum(self.scatter.values())

    @model_validator(mode="after")
    def _of_one_bench(self) -> Self:
        if self.simulation is None and self.options:
            raise KeyMistakeError("options", "these are handed to a 'simulation:' of your own, and none is named")
        for key in type(self).model_fields:
            is_of_any = key in ("bench", "simulation", "options", *PLACED)
            if self.simulation is not None and not is_of_any and key in self.model_fields_set:
                why = f"this is of the built-in bench; what '{self.simulation}' is to know stands under 'options:'"
                raise KeyMistakeError(key, why)
        return self

    @model_validator(mode="after")
    def _moved_jars_exist(self) -> Self:
        for index, fault in enumerate(self.faults):
            if fault.device == "jar" and not 1 <= fault.number <= self.jar_count:
                why = f"there is no jar {fault.number}; they are numbered 1 to {self.jar_count}"
                raise ValueMistakeError(("faults", index), why)
        return self


def mismatches(bench: BenchFile, errand: Errand) -> list[tuple[KeyPath, str]]:
    """Return (place in the bench file, what is wrong) for objects of a kind that the errand file does not have."""
    placed: list[tuple[KeyPath, str]] = [(("objects", at, "kind"), one.kind) for at, one in enumerate(bench.objects)]
    return [
        (place, f"there is no kind '{kind}' in the errand's 'kinds:'{nearest(kind, errand.kinds)}")
        for place, kind in [*placed, *((("scatter", kind), kind) for kind in bench.scatter)]
        if kind not in errand.kinds
    ]
