"""The ground as the errand file describes it: its edge, walls, tray and slots."""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import product

from rover.devices.jaws import jaws_size
from rover.files.errand import Errand, FieldPlan, Zone
from rover.files.robot import Robot
from rover.geometry import XY, distance_to_segment, inside
from rover.quantities import wrap

EDGE_SHARE = 0.75
"""Slots keep this share of their pitch from the tray's edge: the position is never known exactly."""
JAWS_ROOM = 0.15
"""Room (m) that usual jaws, open, need between two objects."""
USUAL_BODY = 0.26
"""Width (m) of what drives into the tray where nobody says."""
BESIDE_BODY = 0.03
"""What stands in the tray keeps so far (m) from the body that drives in or backs out."""
ABREAST = 0.02
"""What stands no farther in than a slot, but for this (m), is beside the body, whose jaws reach little farther."""
ASLANT = math.sin(math.radians(3.0))
"""A heading so far from the field's axes, as a sine, is aslant."""
ROOM_STEP, ROOM_ENOUGH = 0.1, 1.5
"""Before the tray the room to drive in is measured in such steps (m), as far as more makes no difference."""


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
        lane: half the width (m) that is to be free of objects along the line on which it does.
        spacing: at least so far (m) apart are what stands in the tray and what is set down there.
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
    lane: float = 0.5 * USUAL_BODY
    spacing: float = JAWS_ROOM

    def in_zone(self, x: float, y: float, margin: float = 0.0) -> bool:
        """Tell whether a point lies in the tray, or within ``margin`` (m) of it."""
        zone = self.zone
        return (
            zone is not None
            and abs(x - zone.x) <= 0.5 * zone.width + margin
            and abs(y - zone.y) <= 0.5 * zone.depth + margin
        )

    def is_open(self, slot: Slot, things: Iterable[XY]) -> bool:
        """Tell whether an object can be set down in a slot, and nothing of what stands about is in the way in."""
        c, s = math.cos(self.entry), math.sin(self.entry)
        for x, y in things:
            dx, dy = x - slot.x, y - slot.y
            if math.hypot(dx, dy) < self.spacing:
                return False
            if dx * c + dy * s < ABREAST and abs(dy * c - dx * s) < self.lane:
                return False
        return True

    def clearance(self, x: float, y: float) -> float:
        """Return the distance (m) to the nearest edge or wall; negative outside the boundary."""
        nearest = min(distance_to_segment((x, y), *edge) for edge in (*self.edges, *self.walls))
        return nearest if inside((x, y), self.boundary) else -nearest


def ground_for(errand: Errand, robot: Robot) -> Ground:
    """Return the geometry of an errand's field as a robot takes it."""
    jaws_room = jaws_size(robot.devices.gripper, errand.widest).room(errand.widest)
    return ground_of(errand.field, errand.widest, errand.expect, robot.body.width, jaws_room)


def ground_of(
    field: FieldPlan,
    object_width: float,
    expected: int | None,
    body_width: float = USUAL_BODY,
    jaws_room: float = JAWS_ROOM,
) -> Ground:
    """Return the geometry of an errand's field.

    Args:
        field: the errand file's field.
        object_width: the widest kind (m); slots keep clear of each other by it.
        expected: how many objects there are, where that is known.
        body_width: of the robot (m).
        jaws_room: that its open jaws need between two objects (m).
    """
    corners = tuple(field.boundary)
    edges = tuple(zip(corners, (*corners[1:], corners[0]), strict=True))
    walls = tuple(field.walls.values())
    zone = field.zone
    bare = Ground(corners, edges, walls, None, 0.0, ())
    if zone is None:
        return bare
    entry = _entry(bare, zone, 0.5 * body_width) if zone.entry is None else zone.entry
    lane = 0.5 * (body_width + object_width) + BESIDE_BODY
    pitch = object_width + jaws_room
    pitches = pitch, max(pitch, lane + 1e-6)  # abreast, the body has to pass as well
    slots = tuple(Slot(number, *place) for number, place in enumerate(_slots(zone, entry, pitches, expected)))
    spacing = object_width + 0.5 * jaws_room
    return Ground(corners, edges, walls, zone, entry, slots, zone.marker, lane, spacing)


def _entry(bare: Ground, zone: Zone, half_width: float) -> float:
    """Return the quarter direction with the most room before the tray; of several, the one from the field's middle."""
    middle_x, middle_y = (sum(side) / len(bare.boundary) for side in zip(*bare.boundary, strict=True))
    toward = math.atan2(zone.y - middle_y, zone.x - middle_x)
    quarters = sorted((0.5 * math.pi * turn for turn in range(4)), key=lambda quarter: abs(wrap(quarter - toward)))
    return wrap(max(quarters, key=lambda quarter: _room(bare, zone, quarter, half_width)))


def _room(bare: Ground, zone: Zone, entry: float, half_width: float) -> float:
    """Return how far (m) before the tray the body can stand anywhere in front of its slots; no more than is enough."""
    c, s = math.cos(entry), math.sin(entry)
    along, across = _sides(zone, entry)
    half = max(0.0, 0.5 * (across - JAWS_ROOM))
    for step in range(round(ROOM_ENOUGH / ROOM_STEP)):
        back = 0.5 * along + ROOM_STEP * step
        places = ((zone.x - back * c - left * s, zone.y - back * s + left * c) for left in (-half, 0.0, half))
        if any(bare.clearance(*place) < half_width + BESIDE_BODY for place in places):
            return ROOM_STEP * step
    return ROOM_ENOUGH


def _sides(zone: Zone, entry: float) -> tuple[float, float]:
    """Return the tray's sides (m) along a quarter direction and across it."""
    return (zone.width, zone.depth) if abs(math.cos(entry)) > abs(math.sin(entry)) else (zone.depth, zone.width)


def _slots(zone: Zone, entry: float, pitches: tuple[float, float], expected: int | None) -> list[XY]:
    """Return the places of the slots (m), those of the farthest row first; entered aslant, the rows are aslant too.

    ``pitches``: so far (m) apart they are at least, one behind the other and abreast.
    """
    c, s = math.cos(entry), math.sin(entry)
    if min(abs(c), abs(s)) < ASLANT:
        along, across = _sides(zone, entry)
        columns, rows = _grid((along, across), pitches, expected)
        places = list(product(reversed(_spread(rows, along)), _spread(columns, across)))
    else:
        places = _aslant(zone, entry, max(pitches))
    return [(zone.x + forward * c - left * s, zone.y + forward * s + left * c) for forward, left in places]


def _aslant(zone: Zone, entry: float, pitch: float) -> list[XY]:
    """Return (forward, left) of a square grid's places about the tray's middle that keep from its sides, if only one.

    From the middle, so that there is always one: a small tray has it there.
    """
    c, s = math.cos(entry), math.sin(entry)
    half_x, half_y = (max(0.0, 0.5 * side - EDGE_SHARE * pitch) + 1e-9 for side in (zone.width, zone.depth))
    most = math.ceil(math.hypot(half_x, half_y) / pitch)
    steps = [pitch * step for step in range(-most, most + 1)]
    return [
        (forward, left)
        for forward, left in product(reversed(steps), steps)
        if abs(forward * c - left * s) <= half_x and abs(forward * s + left * c) <= half_y
    ]


def _grid(sides: XY, pitches: tuple[float, float], expected: int | None) -> tuple[int, int]:
    """Return (columns, rows): as few as the expected number allows, never closer than the pitches."""
    most_rows, most_columns = (
        max(1, math.floor(side / pitch - 2 * EDGE_SHARE + 1)) for side, pitch in zip(sides, pitches, strict=True)
    )
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
