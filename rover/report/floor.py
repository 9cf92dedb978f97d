"""The field as the record's header gives it: what the plan is drawn on."""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field

from rover.geometry import XY
from rover.record.run import RecordError


@dataclass(frozen=True)
class DrawnField:
    """Edge, walls, tray and start (m, rad, field frame). All may be missing: then the plan shows what there is."""

    boundary: tuple[XY, ...] = ()
    walls: Mapping[str, tuple[XY, XY]] = field(default_factory=dict)
    tray: tuple[XY, ...] = ()
    slots: tuple[XY, ...] = ()
    start: tuple[float, float, float] | None = None


def read_ground(header: Mapping[str, str]) -> DrawnField:
    """Return the ground out of the header's entry ``field``; an empty one if there is no entry.

    Raises:
        RecordError: the entry is not what `rover.record` says it should be.
    """
    try:
        entry = json.loads(header.get("field", "{}"))
        start = entry.get("start")
        return DrawnField(
            boundary=tuple(_point(point) for point in entry.get("boundary", ())),
            walls={name: (_point(a), _point(b)) for name, (a, b) in entry.get("walls", {}).items()},
            tray=_corners(entry.get("zone")),
            slots=tuple(_point(point) for point in entry.get("slots", ())),
            start=start and (float(start["x"]), float(start["y"]), float(start.get("heading") or 0.0)),
        )
    except (ValueError, TypeError, KeyError, AttributeError) as error:
        raise RecordError(f"the record's header entry 'field' cannot be used: {error!r}") from None


def _point(pair: tuple[float, float]) -> XY:
    x, y = pair
    return float(x), float(y)


def _corners(zone: Mapping[str, float] | None) -> tuple[XY, ...]:
    if zone is None:
        return ()
    x, y, across, up = zone["x"], zone["y"], zone["width"] / 2.0, zone["depth"] / 2.0
    return (x - across, y - up), (x + across, y - up), (x + across, y + up), (x - across, y + up)
