"""The errand file: what the robot is to do, and where. Every key is explained in `config/README.md`."""

from typing import Annotated, Any

from pydantic import Field, model_validator

from rover.files.types import POSITIVE, Angle, Length, Model, Name, Point, Text


class Place(Model):
    """A place in the field frame, with the heading to arrive at where it matters."""

    x: Length
    y: Length
    heading: Angle | None = None


class Zone(Model):
    """The collection tray's rectangle: its middle and its sides along the field's axes.

    ``entry`` is the heading in which the robot drives in; by default the quarter direction from the field's middle.
    """

    x: Length
    y: Length
    width: Annotated[Length, POSITIVE]
    depth: Annotated[Length, POSITIVE]
    entry: Angle | None = None


class Field_(Model):
    """The ground: its edge, what stands on it, where the robot starts and where the tray is."""

    boundary: list[Point] = Field(min_length=3)
    start: Place
    zone: Zone | None = None
    walls: dict[Name, tuple[Point, Point]] = Field(default_factory=dict)
    lookouts: list[Point] = Field(default_factory=list)
    places: dict[Name, Place] = Field(default_factory=dict)


class Kind(Model):
    """One kind of object to fetch. ``height`` and ``width`` are those of its coloured lid."""

    lid: Name
    height: Annotated[Length, POSITIVE]
    width: Annotated[Length, POSITIVE]


class Files(Model):
    """The other files, relative to this one."""

    robot: Text
    behaviour: Text
    bench: Text | None = None


class Errand(Model):
    """The whole errand file."""

    errand: Text
    files: Files
    field: Field_
    kinds: dict[Name, Kind] = Field(default_factory=dict)
    order: Any = "nearest"
    expect: Annotated[int, Field(ge=0)] | None = None
    settings: dict[Name, Any] = Field(default_factory=dict)
    notices: dict[Name, Any] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _order_is_known(self) -> "Errand":
        words = ("nearest", "in turn", "ask")
        if isinstance(self.order, str) and self.order not in words:
            raise ValueError(f"order: one of {', '.join(words)}, or a list of kinds, is due here, not '{self.order}'")
        if isinstance(self.order, list):
            for kind in self.order:
                if kind not in self.kinds:
                    raise ValueError(f"order: '{kind}' is not one of the errand's kinds ({', '.join(self.kinds)})")
        return self
