"""The bench file: the floor, objects and faults of a rehearsal. Every key is explained in `config/README.md`.

A span ``[low, high]`` is drawn from once per seed (uniformly); a single value is a span of no width.
"""

import re
from collections.abc import Collection
from typing import Annotated, Any, NamedTuple, Self

from pydantic import BeforeValidator, Field, model_validator

from rover.devices.families import Devices
from rover.devices.with_driver import is_dotted
from rover.files.bench_effects import (
    CameraErrors,
    CountErrors,
    Floor,
    GripErrors,
    HeadingErrors,
    LinkErrors,
    Lip,
    Motors,
    OffTheMap,
    RangeErrors,
    Rendering,
    Supply,
)
from rover.files.errand import Errand
from rover.files.faults import SUBJECTS, FaultLine, OnEntering, ScheduledFault, why_no_fault
from rover.files.problems import nearest
from rover.files.types import (
    POSITIVE,
    Due,
    KeyMistakeError,
    Length,
    Model,
    Name,
    Point,
    Text,
    ValueMistakeError,
    WholeNumber,
    loose,
    must,
)
from rover.files.yaml_source import KeyPath
from rover.quantities import si

SomeObjects = Annotated[WholeNumber, Field(ge=0)]


class PlacedObject(Model):
    """An object at a stated place."""

    kind: Name
    """One of the errand's `kinds`."""
    x: Length
    """Where it stands, in the field."""
    y: Length
    """The same."""


class Post(Model):
    """A round obstacle that the errand's map does not have."""

    x: Length
    """The post's middle, in the field."""
    y: Length
    """The same."""
    radius: Annotated[Length, POSITIVE] = si("5 cm")
    """The post's."""


POST_RADIUS = si("5 cm")
"""Of a post that a fault line puts in the way."""
OWN_CLASS = re.compile(r"[^\W\d]\w*(\.[^\W\d]\w*)*:[^\W\d]\w*")
PLACED = ("objects", "scatter", "walls", "obstacles")
"""What stands where: of use to any simulation."""


class BenchFile(Model):
    """The whole bench file. Of the built-in bench, or with ``simulation`` of one of a person's own."""

    bench: Text
    """Title, for reports."""
    simulation: (
        Annotated[Text, Due("class"), must(OWN_CLASS.fullmatch, "the class is named as package.module:Class")] | None
    ) = None
    """`package.module:Class`: the rehearsal is on a simulation of your own, see below."""
    options: Annotated[dict[str, Any], Due("block"), BeforeValidator(loose)] = Field(default_factory=dict)
    """Handed to it; quantities as SI numbers."""
    floor: Floor = Floor()
    """What the ground does to wheels and heading sensor."""
    off_the_map: OffTheMap = OffTheMap()
    """What is not where the errand's map has it."""
    motors: Motors = Motors()
    """What cheap motors do."""
    battery: Supply = Supply()
    """The battery."""
    counts: CountErrors = CountErrors()
    """Errors of the encoders."""
    heading: HeadingErrors = HeadingErrors()
    """Errors of the heading sensor."""
    range: RangeErrors = RangeErrors()
    """Errors of the range finder."""
    camera: CameraErrors = CameraErrors()
    """Errors of the camera and of what is found in its frames."""
    rendering: Rendering = Rendering()
    """What a rehearsal with `--rendered` draws."""
    link: LinkErrors = LinkErrors()
    """What the serial line does to devices that name a `link:`."""
    gripper: GripErrors = GripErrors()
    """What goes wrong at the jaws."""
    objects: list[PlacedObject] = Field(default_factory=list)
    """Jars at stated places, numbered from 1."""
    scatter: Annotated[dict[Name, SomeObjects], Due("whole numbers by kind")] = Field(default_factory=dict)
    """`{amber: 3}`: how many more are placed by the seed: inside the boundary, 35 cm from its edge, from walls and from
    each other, 50 cm from the tray and 60 cm from the start. They are numbered on."""
    walls: Annotated[list[tuple[Point, Point]], Due("list of pairs of points")] = Field(default_factory=list)
    """Walls that the errand's map does not have. The errand's own stand too."""
    obstacles: list[Post] = Field(default_factory=list)
    """Round posts that the map does not have."""
    lips: list[Lip] = Field(default_factory=list)
    """Lips on the floor, such as a door's; the map does not have them."""
    faults: Annotated[list[FaultLine], Due("list of lines")] = Field(default_factory=list)
    """See [Faults](#faults)."""

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
        for index, line in enumerate(self.faults):
            if line.of == "jar" and not 1 <= int(line.which) <= self.jar_count:
                why = f"there is no jar {line.which}; they are numbered 1 to {self.jar_count}"
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


class FaultMistake(NamedTuple):
    """What a fault line has that the files beside do not: its place in the bench file, and what to say of it.

    ``warning``: it does nothing here, and may be meant for another robot.
    """

    place: KeyPath
    why: str
    warning: bool = False


def fault_mistakes(
    bench: BenchFile, errand: Errand, devices: Devices | None, states: Collection[str]
) -> list[FaultMistake]:
    """Return what fault lines name that is not there: devices, walls, states.

    Args:
        bench: the bench file.
        errand: the errand file.
        devices: of the robot file; None where it could not be read.
        states: paths of the behaviour's states; none where it could not be read.
    """
    found = []
    for at, line in enumerate(bench.faults):
        place = ("faults", at)
        if devices is not None and (mistake := _device_mistake(line, devices)):
            found.append(FaultMistake(place, *mistake))
        if line.of == "wall" and line.which not in errand.field.walls:
            hint = nearest(line.which, errand.field.walls)
            found.append(FaultMistake(place, f"there is no wall '{line.which}' in the errand's 'walls:'{hint}"))
        if states and isinstance(line.when, OnEntering) and line.when.state not in states:
            hint = nearest(line.when.state, states)
            found.append(FaultMistake(place, f"the behaviour has no state '{line.when.state}'{hint}"))
    return found


def _device_mistake(line: ScheduledFault, devices: Devices) -> tuple[str, bool] | None:
    """Return what is wrong with the device that a line is about, and whether it is only a warning."""
    fitted = devices.fitted()
    if not line.device or line.device == "link":
        return None
    if line.device not in fitted:
        if not line.further:
            return f"the robot has no '{line.device}', so this does nothing", True
        known = [*fitted, *(of for of in SUBJECTS if of.replace(" ", "_") not in fitted)]
        return f"there is no device '{line.device}'{nearest(line.device, known)}", False
    if is_dotted(fitted[line.device].driver):
        return f"'{line.device}' has a driver of your own, which is used as it is: this does nothing", True
    family = devices.family_of(line.device).replace("_", " ")
    if family not in line.fault.of:
        return why_no_fault(line.fault.form, line.device, family), False
    return None
