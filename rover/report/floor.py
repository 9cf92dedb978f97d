"""The field as the record's header gives it: what the plan is drawn on."""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from rover.geometry import XY
from rover.record.run import RecordError

Directed = tuple[float, float, float | None]
"""A place (m) and the heading (rad) there, if it has one."""


@dataclass(frozen=True)
class DrawnField:
    """What stands there (m, rad, field frame). All may be missing: then the plan shows what there is.

    Attributes:
        north: where north lies, counter-clockwise from the x axis.
        posts: middle and radius of those that the errand's map does not have, as a bench knows.
        unmapped_walls: the same of walls.
    """

    boundary: tuple[XY, ...] = ()
    walls: Mapping[str, tuple[XY, XY]] = field(default_factory=dict)
    tray: tuple[XY, ...] = ()
    slots: tuple[XY, ...] = ()
    start: Directed | None = None
    places: Mapping[str, Directed] = field(default_factory=dict)
    marker: XY | None = None
    north: float | None = None
    posts: tuple[tuple[float, float, float], ...] = ()
    unmapped_walls: tuple[tuple[XY, XY], ...] = ()


def read_ground(header: Mapping[str, str]) -> DrawnField:
    """Return the ground out of the header's entry ``field``; an empty one if there is no entry.

    Raises:
        RecordError: the entry is not what `rover.record` says it should be.
    """
    try:
        entry = json.loads(header.get("field", "{}"))
        start, marker, unmapped = entry.get("start"), entry.get("marker"), entry.get("off_the_map", {})
        return DrawnField(
            boundary=tuple(_point(point) for point in entry.get("boundary", ())),
            walls={name: _segment(ends) for name, ends in entry.get("walls", {}).items()},
            tray=_corners(entry.get("zone")),
            slots=tuple(_point(point) for point in entry.get("slots", ())),
            start=start and _directed((start["x"], start["y"], start.get("heading") or 0.0)),
            places={name: _directed(place) for name, place in entry.get("places", {}).items()},
            marker=marker and _point(marker),
            north=_maybe(entry.get("north")),
            posts=tuple((float(x), float(y), float(radius)) for x, y, radius in unmapped.get("posts", ())),
            unmapped_walls=tuple(_segment(ends) for ends in unmapped.get("walls", ())),
        )
    except (ValueError, TypeError, KeyError, AttributeError) as error:
        raise RecordError(f"the record's header entry 'field' cannot be used: {error!r}") from None


def _point(pair: tuple[float, float]) -> XY:
    x, y = pair
    return float(x), float(y)


def _segment(ends: Any) -> tuple[XY, XY]:
    a, b = ends
    return _point(a), _point(b)


def _directed(place: Any) -> Directed:
    x, y, heading = place
    return float(x), float(y), _maybe(heading)


def _maybe(number: float | None) -> float | None:
    return None if number is None else float(number)


def _corners(zone: Mapping[str, float] | None) -> tuple[XY, ...]:
    if zone is None:
        return ()
    x, y, across, up = zone["x"], zone["y"], zone["width"] / 2.0, zone["depth"] / 2.0
    return (x - across, y - up), (x + across, y - up), (x + across, y + up), (x - across, y + up)
