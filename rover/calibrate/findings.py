"""What a calibration finds, as plain values: new numbers for the robot file, what to tell, what to draw."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple, TypeVar

from rover.errors import UserError

Value = TypeVar("Value")


class CalibrationError(UserError):
    """What was measured cannot be used; the message says what was wrong and what to do. Nothing is written."""


class ValueChange(NamedTuple):
    """A value of the robot file, before and after, as it is written there.

    Attributes:
        key: where it stands: ``("devices", "counts", "left_scale")``.
        before, after: with their units.
    """

    key: tuple[str, ...]
    before: str
    after: str


class Series(NamedTuple):
    """Points of a drawing, joined by a line or (``marks``) each by itself."""

    label: str
    x: Sequence[float]
    y: Sequence[float]
    marks: bool = True


class Plot(NamedTuple):
    """One drawing: its title, axes with units, and what is in it. ``square``: both axes have the same scale."""

    title: str
    x_axis: str
    y_axis: str
    series: tuple[Series, ...]
    square: bool = False


@dataclass(frozen=True)
class Findings:
    """What a calibration found.

    Attributes:
        changes: proposed for the robot file; empty when it is right already.
        lines: residuals and remarks, for a person.
        plots: to be drawn.
        data: the same and what was measured, for the record: plain numbers and texts.
    """

    changes: tuple[ValueChange, ...]
    lines: tuple[str, ...]
    plots: tuple[Plot, ...] = ()
    data: Mapping[str, Any] = field(default_factory=dict)


def changed(key: str, before: Value, after: Value, written: Callable[[Value], str]) -> tuple[ValueChange, ...]:
    """Return the change of the value at a key (``body.track_factor``), none where both are written alike."""
    texts = written(before), written(after)
    return () if texts[0] == texts[1] else (ValueChange(tuple(key.split(".")), *texts),)


def in_degrees(angle: float) -> str:
    """Return an angle (rad) as it is written in a file and told."""
    return f"{math.degrees(angle):.2f} deg"
