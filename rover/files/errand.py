"""The errand file: what the robot is to do, and where. Every key is explained in `config/README.md`."""

from itertools import pairwise
from typing import Annotated, Any

from pydantic import BeforeValidator, Field, model_validator

from rover.files.notices import Notices
from rover.files.problems import nearest
from rover.files.types import (
    POSITIVE,
    Angle,
    Due,
    FilePath,
    Length,
    Model,
    Name,
    Point,
    Text,
    ValueMistakeError,
    WholeNumber,
)
from rover.geometry import crossing_sides
from rover.quantities import si


class Place(Model):
    """A place in the field frame, with the heading to arrive at where it matters."""

    x: Length
    """Along the field's x axis."""
    y: Length
    """Along the field's y axis."""
    heading: Angle | None = None
    """To arrive at. A start without it faces along the x axis; a place without it is arrived at in any."""


class Zone(Model):
    """The collection tray's rectangle: its middle and its sides along the field's axes."""

    x: Length
    """The tray's middle."""
    y: Length
    """The same."""
    width: Annotated[Length, POSITIVE]
    """Side along the x axis."""
    depth: Annotated[Length, POSITIVE]
    """Side along the y axis."""
    entry: Angle | None = None
    """Heading in which the robot drives in, best along an axis; without it, the quarter direction before which there is
    most room, of several the one from the field's middle."""
    marker: Point | None = None
    """Where a plate stands that the camera knows, at the camera's height: sighting it fixes the position."""


class FieldPlan(Model):
    """The ground: its edge, what stands on it, where the robot starts and where the tray is."""

    boundary: Annotated[list[Point], Due("list of points")] = Field(min_length=3)
    """Corners of the field in their order, three or more: `[[0 m, 0 m], [6 m, 0 m], [6 m, 4 m]]`."""
    start: Place
    """Where the robot is set down; to 2 cm and 3 deg, it believes."""
    zone: Zone | None = None
    """The collection tray."""
    walls: Annotated[dict[Name, tuple[Point, Point]], Due("pairs of points by name")] = Field(default_factory=dict)
    """Walls on the map: `{north: [[0 m, 4 m], [6 m, 4 m]]}`. Routes go round them, and echoes from them fix the
    position."""
    lookouts: Annotated[list[Point], Due("list of points")] = Field(default_factory=list)
    """Where to look round from; without them, a grid of 60 cm or a little more over the field, and whatever place shows
    what cannot be seen from there."""
    places: dict[Name, Place] = Field(default_factory=dict)
    """Places that a behaviour may name as `field.places.<name>`."""
    heading_error: Annotated[Angle, POSITIVE] = si("1 deg")
    """How far off the place (iron) puts the heading sensor, as a standard deviation."""
    north: Angle | None = None
    """Where north lies, counter-clockwise from the x axis: plans then have a compass arrow."""

    @model_validator(mode="after")
    def _boundary_goes_round(self) -> "FieldPlan":
        (x0, y0), *others = self.boundary
        ways = [(x - x0, y - y0) for x, y in others]
        if all(x * next_y == next_x * y for (x, y), (next_x, next_y) in pairwise(ways)):
            why = "these points lie on one line; a boundary goes round the field, corner by corner"
            raise ValueMistakeError(("boundary",), why)
        if crossing := crossing_sides(self.boundary):
            first, second = (index + 1 for index in crossing)
            why = (
                f"the side that begins at this corner, the {_nth(second)}, meets the side that begins at the "
                f"{_nth(first)}; write the corners in the order in which one walks round the field"
            )
            raise ValueMistakeError(("boundary", second - 1), why)
        return self


def _nth(number: int) -> str:
    endings = {1: "st", 2: "nd", 3: "rd"}
    return f"{number}{'th' if number // 10 % 10 == 1 else endings.get(number % 10, 'th')}"


class Kind(Model):
    """One kind of object to fetch."""

    lid: Name
    """Colour of the lid, one of the robot's `colours`."""
    height: Annotated[Length, POSITIVE]
    """Of the lid's top above the ground."""
    width: Annotated[Length, POSITIVE]
    """Of the lid: how wide it looks."""


class Files(Model):
    """The other files, relative to this one."""

    robot: FilePath
    """Robot file."""
    behaviour: FilePath
    """Behaviour file, or the name of one that comes with rover: `collect`, `patrol`, `rectangle`, `roam`."""
    bench: FilePath | None = None
    """Bench file; without one, a rehearsal has a mild floor with nothing on it."""


ORDERS = ("nearest", "in turn", "ask")


def _order(value: Any) -> Any:
    if isinstance(value, list) or value in ORDERS:
        return value
    hint = nearest(value, ORDERS) if isinstance(value, str) else ""
    raise ValueError(f"one of {', '.join(ORDERS)}, or a list of kinds such as [amber, teal], is due here{hint}")


USUAL_WIDTH = 0.05
"""Width (m) of what there is to carry where no errand says."""


class Errand(Model):
    """The whole errand file."""

    errand: Text
    """Title, for reports."""
    files: Files
    """The other files."""
    field: FieldPlan
    """The ground. Its origin and axes are wherever this file puts them."""
    kinds: dict[Name, Kind] = Field(default_factory=dict)
    """The kinds of object to fetch."""
    order: Annotated[str | list[Name], BeforeValidator(_order), Due("word, or list of kinds")] = "nearest"
    """Which to fetch next, see below."""
    expect: Annotated[WholeNumber, Field(ge=0)] | None = None
    """How many objects there are to fetch, where that is known: `objects.left` counts down from it, and the tray gets
    so many slots. What stands in the tray from the start, and kinds that `order` leaves out, are not among them."""
    allowance: Annotated[Length, POSITIVE] | None = None
    """How far off the reported place of a find may be, along x and along y: the report marks what is farther off, or
    may be."""
    settings: Annotated[dict[Name, Any], Due("values by name")] = Field(default_factory=dict)
    """Override the behaviour's settings."""
    notices: Notices | None = None
    """What to tell a person who is elsewhere."""

    @property
    def widest(self) -> float:
        """Width (m) of the widest kind."""
        return max((kind.width for kind in self.kinds.values()), default=USUAL_WIDTH)

    def fetches(self, kind: str) -> bool:
        """Tell whether objects of a kind are to be fetched: all are, but where `order` lists some."""
        return not isinstance(self.order, list) or kind in self.order

    @model_validator(mode="after")
    def _order_is_known(self) -> "Errand":
        if isinstance(self.order, list):
            for index, kind in enumerate(self.order):
                if kind not in self.kinds:
                    why = f"'{kind}' is not one of the errand's kinds{nearest(kind, self.kinds)}"
                    raise ValueMistakeError(("order", index), why)
        return self
