"""The ground as the errand file describes it: its edge, walls, tray and slots."""

import math
from dataclasses import dataclass
from itertools import product

from rover.files.errand import FieldPlan, Zone
from rover.geometry import XY, distance_to_segment, inside
from rover.quantities import wrap

EDGE_SHARE = 0.75
"""Slots keep this share of their pitch from the tray's edge: the position is never known exactly."""
JAWS_ROOM = 0.15
"""Room (m) that the open jaws need between two objects."""


@dataclass(frozen=True)
class Slot:
    """A place in the tray: where the object is to stand."""

    number: int
    x: float
    y: float


@dataclass(frozen=True)
class Ground:
    """The field's geometry, fixed for a run.

    Attributes:
        edges: the boundary's sides.
        walls: known walls.
        entry: heading (rad) in which the robot drives into the tray.
        slots: the tray's places, in the order in which they are filled: far to near, each row from one side.
        marker: where the tray's marker stands, if it has one.
    """

    boundary: tuple[XY, ...]
    edges: tuple[tuple[XY, XY], ...]
    walls: tuple[tuple[XY, XY], ...]
    zone: Zone | None
    entry: float
    slots: tuple[Slot, ...]
    marker: XY | None = None

    def in_zone(self, x: float, y: float, margin: float = 0.0) -> bool:
        """Tell whether a point lies in the tray, or within ``margin`` (m) of it."""
        zone = self.zone
        return (
            zone is not None
            and abs(x - zone.x) <= 0.5 * zone.width + margin
            and abs(y - zone.y) <= 0.5 * zone.depth + margin
        )

    def clearance(self, x: float, y: float) -> float:
        """Return the distance (m) to the nearest edge or wall; negative outside the boundary."""
        nearest = min(distance_to_segment((x, y), *edge) for edge in (*self.edges, *self.walls))
        return nearest if inside((x, y), self.boundary) else -nearest


def ground_of(field: FieldPlan, object_width: float, expected: int | None) -> Ground:
    """Return the geometry of an errand's field.

    Args:
        field: the errand file's field.
        object_width: the widest kind (m); slots keep clear of each other by it.
        expected: how many objects there are, where that is known.
    """
    corners = tuple(field.boundary)
    edges = tuple(zip(corners, (*corners[1:], corners[0]), strict=True))
    walls = tuple(field.walls.values())
    zone = field.zone
    if zone is None:
        return Ground(corners, edges, walls, None, 0.0, ())
    entry = _entry(corners, zone) if zone.entry is None else zone.entry
    slots = _slots(zone, entry, object_width, expected)
    return Ground(corners, edges, walls, zone, entry, slots, zone.marker)


def _entry(corners: tuple[XY, ...], zone: Zone) -> float:
    """Return the quarter direction that leads from the open field into the tray."""
    middle_x, middle_y = (sum(side) / len(corners) for side in zip(*corners, strict=True))
    toward = math.atan2(zone.y - middle_y, zone.x - middle_x)
    return wrap(round(toward / (math.pi / 2)) * math.pi / 2)


def _slots(zone: Zone, entry: float, object_width: float, expected: int | None) -> tuple[Slot, ...]:
    c, s = math.cos(entry), math.sin(entry)
    along, across = (zone.width, zone.depth) if abs(c) > abs(s) else (zone.depth, zone.width)
    columns, rows = _grid(across, along, object_width, expected)
    places = product(reversed(_spread(rows, along)), _spread(columns, across))
    return tuple(
        Slot(number, zone.x + forward * c - left * s, zone.y + forward * s + left * c)
        for number, (forward, left) in enumerate(places)
    )


def _grid(across: float, along: float, object_width: float, expected: int | None) -> tuple[int, int]:
    """Return (columns, rows): as few as the expected number allows, never closer than jaws need."""
    pitch = object_width + JAWS_ROOM
    most_columns, most_rows = (max(1, math.floor(side / pitch - 2 * EDGE_SHARE + 1)) for side in (across, along))
    if expected is None:
        return most_columns, most_rows
    for columns in range(1, most_columns + 1):
        rows = max(1, math.ceil(expected / columns))
        if rows <= min(most_rows, columns):
            return columns, rows
    return most_columns, most_rows


def _spread(count: int, length: float) -> list[float]:
    """Return ``count`` places along a side, from its middle, `EDGE_SHARE` of a pitch kept free at both ends."""
    pitch = length / (count - 1 + 2 * EDGE_SHARE)
    return [pitch * (index - 0.5 * (count - 1)) for index in range(count)]
