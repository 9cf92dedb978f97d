"""The errand file: what the robot is to do, and where. Every key is explained in `config/README.md`."""

import math
from typing import Annotated, Any

from pydantic import BeforeValidator, Field, StrictInt, model_validator

from rover.files.problems import nearest
from rover.files.types import POSITIVE, Angle, Length, Model, Name, Point, Text, ValueMistakeError


class Place(Model):
    """A place in the field frame, with the heading to arrive at where it matters."""

    x: Length
    y: Length
    heading: Angle | None = None


class Zone(Model):
    """The collection tray's rectangle: its middle and its sides along the field's axes.

    ``entry`` is the heading in which the robot drives in; by default the quarter direction from the field's middle.
    ``marker`` is where a plate stands that the camera knows, at the camera's height.
    """

    x: Length
    y: Length
    width: Annotated[Length, POSITIVE]
    depth: Annotated[Length, POSITIVE]
    entry: Angle | None = None
    marker: Point | None = None


class FieldPlan(Model):
    """The ground: its edge, what stands on it, where the robot starts and where the tray is."""

    boundary: list[Point] = Field(min_length=3)
    start: Place
    zone: Zone | None = None
    walls: dict[Name, tuple[Point, Point]] = Field(default_factory=dict)
    lookouts: list[Point] = Field(default_factory=list)
    places: dict[Name, Place] = Field(default_factory=dict)
    heading_error: Annotated[Angle, POSITIVE] = math.radians(1.0)

    @model_validator(mode="after")
    def _boundary_has_an_inside(self) -> "FieldPlan":
        ends = zip(self.boundary, (*self.boundary[1:], self.boundary[0]), strict=True)
        if sum(x * next_y - next_x * y for (x, y), (next_x, next_y) in ends) == 0.0:
            why = "these points lie on one line; a boundary goes round the field, corner by corner"
            raise ValueMistakeError(("boundary",), why)
        return self


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


ORDERS = ("nearest", "in turn", "ask")


def _order(value: Any) -> Any:
    if isinstance(value, list) or value in ORDERS:
        return value
    hint = nearest(value, ORDERS) if isinstance(value, str) else ""
    raise ValueError(f"one of {', '.join(ORDERS)}, or a list of kinds such as [amber, teal], is due here{hint}")


class Errand(Model):
    """The whole errand file."""

    errand: Text
    files: Files
    field: FieldPlan
    kinds: dict[Name, Kind] = Field(default_factory=dict)
    order: Annotated[str | list[Name], BeforeValidator(_order)] = "nearest"
    expect: Annotated[StrictInt, Field(ge=0)] | None = None
    settings: dict[Name, Any] = Field(default_factory=dict)
    notices: dict[Name, Any] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _order_is_known(self) -> "Errand":
        if isinstance(self.order, list):
            for index, kind in enumerate(self.order):
                if kind not in self.kinds:
                    why = f"'{kind}' is not one of the errand's kinds{nearest(kind, self.kinds)}"
                    raise ValueMistakeError(("order", index), why)
        return self
