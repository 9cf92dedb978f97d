"""The field and its rooms: walls along its sides, and partitions with doorways, free ends, or no way through."""

import math

from floor import XY, NoRoomError, Rect, Sketch

DOOR = 0.15
"""A doorway's free width is at least the body's and this (m)."""


def draw_outside(sketch: Sketch) -> None:
    """Draw the field: a rectangle, or one that lacks a corner, with walls along most of its sides."""
    draws, floor = sketch.draws, sketch.floor
    origin_x, origin_y = draws.choice(((0.0, 0.0), (0.0, 0.0), (-1.5, 2.0), (-3.0, -2.5)))
    width, depth = (
        sketch.uniform(max(2.5, 4.5 * sketch.size.turning), 8.0),
        sketch.uniform(max(2.0, 4.5 * sketch.size.turning), 6.0),
    )
    whole = Rect(origin_x, origin_y, origin_x + width, origin_y + depth)
    least = 3.2 * sketch.size.turning
    if draws.random() < 0.35 and min(width, depth) > 2.0 * least:
        _without_corner(sketch, whole, sketch.uniform(least, width - least), sketch.uniform(least, depth - least))
    else:
        floor.boundary, floor.rooms = list(whole.corners), [whole]
    sides = list(zip(floor.boundary, (*floor.boundary[1:], floor.boundary[0]), strict=True))
    is_open = draws.randrange(len(sides)) if draws.random() < 0.12 else None
    floor.walls = {f"side_{at + 1}": side for at, side in enumerate(sides) if at != is_open}


def _without_corner(sketch: Sketch, whole: Rect, along: float, across: float) -> None:
    """Take a corner out, so wide and deep (m); what is left is two rooms with an open seam."""
    west, south, east, north = whole
    is_east, is_north = sketch.draws.random() < 0.5, sketch.draws.random() < 0.5
    x = round(east - along if is_east else west + along, 2)
    y = round(north - across if is_north else south + across, 2)
    long = Rect(west, south, x, north) if is_east else Rect(x, south, east, north)
    beyond = (x, east) if is_east else (west, x)
    short = Rect(beyond[0], south, beyond[1], y) if is_north else Rect(beyond[0], y, beyond[1], north)
    taken = (east if is_east else west, north if is_north else south)
    corners: list[XY] = []
    for corner in whole.corners:
        if corner != taken:
            corners.append(corner)
            continue
        turn = [(x, taken[1]), (x, y), (taken[0], y)]
        corners += turn if (corner[0] == east) != (corner[1] == north) else reversed(turn)
    sketch.floor.boundary = _rightly_ordered(corners)
    sketch.floor.rooms = [long, short]
    low, high = short.south, short.north
    sketch.floor.doorways = [((x, low), (x, high))]


def draw_partition(sketch: Sketch, number: int) -> None:
    """Divide the room that is the longest by a wall across it: with a doorway, a free end, two, or none."""
    draws, floor, turning = sketch.draws, sketch.floor, sketch.size.turning
    rooms = sorted(floor.rooms, key=lambda one: max(one.east - one.west, one.north - one.south))
    room = rooms[-1]
    is_upright = room.east - room.west >= room.north - room.south
    low, high = (room.west, room.east) if is_upright else (room.south, room.north)
    begin, end = (room.south, room.north) if is_upright else (room.west, room.east)
    least = 2.0 * turning + 0.5
    if high - low < 2.0 * least:
        return

    def point(at: float, along: float) -> XY:
        return (at, along) if is_upright else (along, at)

    def clear_of_doorways(at: float) -> bool:
        return all(floor.from_doorways(point(at, along)) > turning + 0.15 for along in (begin, end))

    try:
        at = sketch.tried(lambda: sketch.uniform(low + least, high - least), clear_of_doorways)
    except NoRoomError:
        return
    if is_upright:
        halves = [room._replace(east=at), room._replace(west=at)]
    else:
        halves = [room._replace(north=at), room._replace(south=at)]
    kind = draws.choices(("doorway", "free end", "two free ends", "closed"), (60, 18, 12, 10))[0]
    if kind == "closed" and all(_has_way_in(sketch, half) for half in halves):
        kind = "doorway"
    pieces = _pieces(sketch, kind, begin, end)
    for name, (one, other) in zip("abc", pieces, strict=False):
        floor.walls[f"partition_{number}{name}"] = (point(at, one), point(at, other))
    reached = begin
    for one, other in [*pieces, (end, end)]:
        if one > reached:
            floor.doorways.append((point(at, reached), point(at, one)))
        reached = other
    floor.rooms.remove(room)
    if kind == "closed":
        shut = [half for half in halves if not _has_way_in(sketch, half)]
        floor.closed.append(shut[0])
        halves.remove(shut[0])
    floor.rooms += halves


def _pieces(sketch: Sketch, kind: str, begin: float, end: float) -> list[tuple[float, float]]:
    """Return what stands of a partition, from ``begin`` to ``end`` (m), of it."""
    draws, width = sketch.draws, sketch.size.width
    least, length = width + DOOR, end - begin
    if kind == "closed":
        return [(begin, end)]
    if kind == "two free ends":
        return [
            (
                round(begin + sketch.uniform(least + 0.1, 0.4 * length), 2),
                round(end - sketch.uniform(least + 0.1, 0.4 * length), 2),
            )
        ]
    if kind == "free end":
        gap = sketch.uniform(least + 0.2, max(least + 0.2, 0.5 * length))
        return [(begin, round(end - gap, 2))] if draws.random() < 0.5 else [(round(begin + gap, 2), end)]
    gap = (
        math.ceil(100.0 * least) / 100.0
        if draws.random() < 0.5
        else math.ceil(100.0 * least) / 100.0 + sketch.uniform(0.0, 0.35)
    )
    at = draws.choice((begin, end - gap, None, None, None, None))
    at = sketch.uniform(begin + 0.15, end - gap - 0.15) if at is None else at
    pieces = [(begin, round(at, 2)), (round(at + gap, 2), end)]
    return [one for one in pieces if one[1] - one[0] > 0.01]


def _has_way_in(sketch: Sketch, room: Rect) -> bool:
    around = room.shrunk(-0.01)
    return any(around.holds(one) or around.holds(other) for one, other in sketch.floor.doorways)


def _rightly_ordered(corners: list[XY]) -> list[XY]:
    """Return the corners of a field that lacks one, in their order: one side is along x, the next along y."""
    left, ordered = corners[1:], corners[:1]
    while left:
        x, y = ordered[-1]
        is_along_x = len(ordered) % 2 == 1
        beside = [one for one in left if (one[1] == y if is_along_x else one[0] == x)]
        following = min(beside, key=lambda one: math.dist(one, (x, y)))
        left.remove(following)
        ordered.append(following)
    return ordered
