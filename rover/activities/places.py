"""Places by name, and what stands about the field that is to be driven round."""

import math
from typing import Any

from rover.activities.activity import World
from rover.motion.route import Circle

PlaceXYH = tuple[float, float, float | None]
GATE_CLEAR = 0.12
"""At the gate the jaws are this far (m) outside the tray."""
CLEAR = 0.05
"""Distance (m) kept between the body and a thing, besides both their sizes."""
LOOKOUT_SPACING = 0.6


def place_of(world: World, place: Any) -> PlaceXYH | None:
    """Return (x, y, heading or None) of a place as ``drive_to`` names it; None where there is none now."""
    if isinstance(place, tuple):
        return place[0], place[1], None
    field = world.errand.field
    if place == "field.start":
        return field.start.x, field.start.y, field.start.heading
    if place == "zone.gate":
        return _gate(world)
    if place == "target.place":
        chosen = world.targets.chosen
        return None if chosen is None else (chosen.x, chosen.y, None)
    if place == "field.next_lookout":
        return next_lookout(world)
    if place == "field.next_place":
        return _next_place(world)
    named = field.places[place.rpartition(".")[2]]
    return named.x, named.y, named.heading


def _gate(world: World) -> PlaceXYH | None:
    slot, zone = world.book.slot, world.ground.zone
    if slot is None or zone is None:
        return None
    c, s = math.cos(world.ground.entry), math.sin(world.ground.entry)
    half = 0.5 * (abs(c) * zone.width + abs(s) * zone.depth)
    depth = (slot.x - zone.x) * c + (slot.y - zone.y) * s + half
    back = depth + world.robot.body.gripper_reach + GATE_CLEAR
    return slot.x - back * c, slot.y - back * s, world.ground.entry


def _next_place(world: World) -> PlaceXYH | None:
    places = list(world.errand.field.places.values())
    if not places:
        return None
    place = places[world.book.visited_places % len(places)]
    world.book.visited_places += 1
    return place.x, place.y, place.heading


def next_lookout(world: World) -> PlaceXYH | None:
    """Return the place to look round from next: much ground not yet looked at, and not far to drive."""
    reach = 0.85 * world.targets.eye.reach
    looked_at = world.book.looked_at
    best, best_score = None, 0.0
    for x, y in lookouts(world):
        gain = looked_at.unseen_from((x, y), reach)
        distance = math.hypot(x - world.pose.x, y - world.pose.y)
        score = gain / (1.5 + distance)
        if gain and score > best_score and distance > 0.3:
            best, best_score = (x, y), score
    return None if best is None else (*best, None)


def lookouts(world: World) -> list[tuple[float, float]]:
    """Return the places to look round from: the errand's, or a grid over the field off its edges and the tray."""
    if world.errand.field.lookouts:
        return list(world.errand.field.lookouts)
    xs = [x for x, _ in world.ground.boundary]
    ys = [y for _, y in world.ground.boundary]
    margin = 0.5 * math.hypot(world.robot.body.width, world.robot.body.length) + 0.15
    return [
        point
        for point in ((x, y) for x in _steps(min(xs), max(xs)) for y in _steps(min(ys), max(ys)))
        if world.ground.clearance(*point) > margin
        and not world.ground.in_zone(*point, margin=0.2)
        and _is_free(world, point, margin)
    ]


def _steps(low: float, high: float) -> list[float]:
    count = max(1, math.floor((high - low) / LOOKOUT_SPACING))
    return [low + (high - low) * (index + 0.5) / count for index in range(count)]


def _is_free(world: World, point: tuple[float, float], margin: float) -> bool:
    return all(one.distance(*point) > margin + 0.05 for one in world.targets.objects)


def obstacles(world: World, half_width: float) -> list[Circle]:
    """Return what is to be driven round: other objects, those put off, filled slots and unknown things met."""
    size = max((kind.width for kind in world.errand.kinds.values()), default=0.05)
    radius = half_width + 0.5 * size + CLEAR
    circles = [
        Circle(one.x, one.y, radius + min(0.05, math.sqrt(max(one.xx, one.yy)))) for one in world.targets.others()
    ]
    spots = [(one.x, one.y) for one in world.book.put_off]
    spots += [(filled.slot.x, filled.slot.y) for filled in world.book.filled]
    circles += [Circle(x, y, radius) for x, y in spots]
    circles += [Circle(x, y, half_width + 0.08) for x, y in world.book.obstacles[-6:]]
    return circles
