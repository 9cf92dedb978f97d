"""Places by name, and what stands about the field that is to be driven round."""

import math
from collections.abc import Callable
from typing import Any, NamedTuple

from rover.activities.activity import Knowledge
from rover.estimate.doubt import SURE
from rover.estimate.field import Ground, Slot
from rover.estimate.looked_at import Lookout
from rover.geometry import XY, Pose
from rover.motion.free_space import Clearance, Thing
from rover.motion.heard import NEAR
from rover.motion.keep_clear import CREEP, room_due
from rover.motion.outline import RoomDue
from rover.motion.request import FEEL
from rover.vision.targets import Remembered

PlaceXYH = tuple[float, float, float | None]
GATE_CLEAR = 0.12
"""At the gate the jaws are this far (m) outside the tray."""
CLEAR, CLEAR_AT_A_CREEP = 0.05, 0.02
"""Distance (m) kept between the body and a thing, and at a creep between it and what is not in the tray."""
MET_RADIUS = 0.03
"""What was met is taken to be so thick (m): where it was touched or heard is known, and not what it is."""
SAME = 0.07
"""What was put off so near to the target (m) is the target itself, placed a little wrong."""
IN_JAWS = 0.1
"""What is seen so near to the loaded jaws' middle (m) is what they hold."""
ASTRAY = 0.01
"""So far (m) the robot strays from a way at most."""
LEAST_EXPLORED = 1.0
"""With less ground (m^2) than this known to be free, no way is looked for over it."""
HERE = 0.3
"""A lookout nearer than this (m) is the one that the robot stands at."""
LAST_CHOICE = 1e-3
"""A lookout at which the robot has just stood, or something stands, is worth so many times less."""


def place_of(known: Knowledge, place: Any) -> PlaceXYH | None:
    """Return (x, y, heading or None) of a place as ``drive_to`` names it; None where there is none now."""
    if isinstance(place, tuple):
        return place[0], place[1], None
    field = known.errand.field
    if place == "field.start":
        return field.start.x, field.start.y, field.start.heading
    if place == "zone.gate":
        return _gate(known)
    if place == "target.place":
        chosen = known.targets.chosen
        return None if chosen is None else (chosen.x, chosen.y, None)
    if place == "field.next_lookout":
        return next_lookout(known)
    if place == "field.next_place":
        return _next_place(known)
    named = field.places[place.rpartition(".")[2]]
    return named.x, named.y, named.heading


def _gate(known: Knowledge) -> PlaceXYH | None:
    slots = slots_to_fill(known)
    return gate_before(known.ground, slots[0], known.robot.body.gripper_reach) if slots else None


def slots_to_fill(known: Knowledge) -> list[Slot]:
    """Return the free slots in the order in which to fill them: last those before which something stands."""
    is_clear = _clear_before(known)
    return sorted(known.ledger.free_slots, key=lambda slot: not is_clear(slot))


def _clear_before(known: Knowledge) -> Callable[[Slot], bool]:
    """Return what tells of a slot whether nothing stands where the body is at its gate, or drives in from there."""
    ground, body, outline = known.ground, known.robot.body, known.space.outlines[1]
    things, due = things_about(known, Manner(CREEP)), _room_due(known, CREEP)
    clearance = Clearance(known.space, outline, due, things, known.pose)
    gates: dict[Pose, bool] = {}

    def is_clear(slot: Slot) -> bool:
        gate = gate_before(ground, slot, body.gripper_reach)
        if gate not in gates:
            gates[gate] = clearance.is_free(gate)
        most = math.dist((gate.x, gate.y), (slot.x, slot.y)) + 0.5 * math.hypot(body.length, body.width)
        near = [(one.x, one.y) for one in things if math.dist((one.x, one.y), (slot.x, slot.y)) < most]
        return gates[gate] and ground.is_open(slot, near)

    return is_clear


def barring_tray(known: Knowledge) -> list[Remembered]:
    """Return the object that stands at the gate of the slot to be filled next, if none has a clear one."""
    objects = [one for one in known.targets.objects if one.known and not one.is_vague]
    slots = known.ledger.free_slots if objects else []
    if not slots or any(map(_clear_before(known), slots)):
        return []
    body, gate = known.robot.body, gate_before(known.ground, slots[0], known.robot.body.gripper_reach)
    nearest = min(objects, key=lambda one: one.distance(gate.x, gate.y))
    is_at_gate = nearest.distance(gate.x, gate.y) < math.hypot(body.length, body.width)
    return [nearest] if is_at_gate else []


def gate_before(ground: Ground, slot: Slot, reach: float) -> Pose:
    """Return where a robot whose jaws are ``reach`` (m) ahead of its middle stands to drive straight in to a slot."""
    zone = ground.zone
    assert zone is not None  # there is a slot
    c, s = math.cos(ground.entry), math.sin(ground.entry)
    half = 0.5 * (abs(c) * zone.width + abs(s) * zone.depth)
    depth = (slot.x - zone.x) * c + (slot.y - zone.y) * s + half
    back = depth + reach + GATE_CLEAR
    return Pose(slot.x - back * c, slot.y - back * s, ground.entry)


def _next_place(known: Knowledge) -> PlaceXYH | None:
    places = list(known.errand.field.places.values())
    if not places:
        return None
    place = places[known.ledger.visit() % len(places)]
    return place.x, place.y, place.heading


def next_lookout(known: Knowledge) -> PlaceXYH | None:
    """Return the place to look round from next, and take note that it is gone to; None if from none much is to be seen.

    Much ground not yet looked at, and not far to drive. Where the robot has just looked round, or something stands,
    only for want of another.
    """
    looked_at = known.ledger.looked_at
    best, best_score = None, 0.0
    for number, lookout, worth in looked_at.worth_a_look():
        distance = math.hypot(lookout.x - known.pose.x, lookout.y - known.pose.y)
        is_good = distance > HERE and _is_free(known, lookout)
        score = worth / (1.5 + distance) * (1.0 if is_good else LAST_CHOICE)
        if score > best_score:
            best, best_score = number, score
    if best is None:
        return None
    looked_at.go_to(best)
    return looked_at.lookouts[best].x, looked_at.lookouts[best].y, None


def _is_free(known: Knowledge, lookout: Lookout) -> bool:
    body = known.robot.body
    room = 0.5 * math.hypot(body.width, body.length) + 0.2
    return all(one.distance(lookout.x, lookout.y) > room for one in known.targets.objects)


class Manner(NamedTuple):
    """How a way is planned: for which speed (m/s), whether as well over ground that nobody knows by a robot that hears
    nothing ahead, and whether without objects of a vague place, and what was heard."""

    speed: float = math.inf
    without_vague: bool = False
    without_heard: bool = False
    anywhere: bool = False


AS_USUAL = Manner()
FELT = Manner(FEEL, without_heard=True)


def things_about(known: Knowledge, manner: Manner = AS_USUAL) -> list[Thing]:
    """Return what is to be driven round: what is seen or heard to stand about, and what was met."""
    met = [Thing(one.x, one.y, MET_RADIUS, _clear(manner)) for one in known.ledger.obstacles.now(known.now_ns)]
    return [*_seen_and_heard(known, manner), *met]


def _seen_and_heard(known: Knowledge, manner: Manner) -> list[Thing]:
    """Return other objects, those put off, what stands in the tray, and what was heard."""
    clear = _clear(manner)
    radius = 0.5 * known.errand.widest
    held_at = jaws_place(known)
    others = [
        Thing(one.x, one.y, _radius(known, one), clear)
        for one in known.targets.others()
        if not (known.loaded and one.distance(*held_at) < IN_JAWS) and not (manner.without_vague and one.is_vague)
    ]
    chosen = known.targets.chosen
    spots = [(one.x, one.y) for one in known.ledger.put_off if chosen is None or chosen.distance(one.x, one.y) >= SAME]
    others += [Thing(x, y, radius, clear) for x, y in spots]
    others += [Thing(x, y, radius, CLEAR) for x, y in known.ledger.in_tray]
    heard = [] if manner.without_heard else heard_standing(known)
    return [*others, *(Thing(x, y, MET_RADIUS, clear) for x, y in heard)]


def _target(known: Knowledge, start: Pose, turns_within: float) -> list[Thing]:
    """Return what is gone for: it is driven up to, with no room to spare, and not over on the way to its far side.

    Where it stands within the circle (m) in which the robot turns, it is about to be gripped, and bars nothing.
    """
    chosen = known.targets.chosen
    if chosen is None or not chosen.known:
        return []
    thing = Thing(chosen.x, chosen.y, _radius(known, chosen), 0.0)
    return [thing] if math.dist(start[:2], (thing.x, thing.y)) > turns_within + thing.radius else []


def jaws_place(known: Knowledge) -> XY:
    """Return where the middle of the jaws is in the field (m)."""
    return known.pose.beside(known.robot.body.gripper_reach, 0.0)


def stands_in_jaws(known: Knowledge) -> bool:
    """Tell whether something that is known of stands between the open jaws: any way ahead pushes it along."""
    jaws = jaws_place(known)
    near = (one for one in known.targets.objects if one.known and one.distance(*jaws) < IN_JAWS)
    has_jaws = known.robot.devices.gripper is not None
    return has_jaws and not known.loaded and any(not one.is_vague for one in near)


def _radius(known: Knowledge, one: Remembered) -> float:
    return 0.5 * known.errand.widest + min(0.05, math.sqrt(max(one.xx, one.yy)))


def _clear(manner: Manner) -> float:
    return CLEAR if manner.speed > CREEP else CLEAR_AT_A_CREEP


def heard_standing(known: Knowledge, within: float = NEAR) -> list[XY]:
    """Return where (m), so near to the robot, range finders heard something that is no object which is known of."""
    things = [*known.things, *((one.x, one.y) for one in known.ledger.put_off)]
    return known.heard.standing(known.pose[:2], known.now_ns, things, within)


def _room_due(known: Knowledge, speed: float) -> RoomDue:
    """Return the room that is due before boundary and walls at a speed (m/s); who feels leaves none for doubt."""
    return room_due(known.robot.limits, SURE if speed <= FEEL else known.filter.position_doubt, speed)


def clearance_beside(known: Knowledge, target: Remembered, neighbours: float, speed: float = CREEP) -> Clearance:
    """Return what keeps the outline clear on the last straight way to an object, driven at a speed (m/s).

    Where things stand beside each other is known better than where they stand: they are seen together. Others that are
    nearer to the object than ``neighbours`` (m) may be nudged, and what was met so near to it was perhaps met elsewhere
    along the front; and what was only heard, elsewhere on its arc.
    """
    due = _room_due(known, speed)
    radius = 0.5 * known.errand.widest
    spots = [(one.x, one.y) for one in known.targets.others()]
    spots += [(one.x, one.y) for one in known.ledger.put_off]
    apart = max(neighbours, SAME)
    things = [Thing(x, y, radius, 0.0) for x, y in spots if target.distance(x, y) >= apart]
    things += [Thing(x, y, radius, CLEAR) for x, y in known.ledger.in_tray]
    met = [one for one in known.ledger.obstacles.now(known.now_ns) if target.distance(one.x, one.y) >= neighbours]
    things += [Thing(one.x, one.y, MET_RADIUS, CLEAR) for one in met]
    things += [] if neighbours else [Thing(x, y, MET_RADIUS, CLEAR_AT_A_CREEP) for x, y in heard_standing(known)]
    return Clearance(known.space, known.space.outlines[0], due, things, known.pose)


def clearance_from(known: Knowledge, start: Pose, manner: Manner = AS_USUAL) -> Clearance:
    """Return what keeps the outline clear, with what it holds, on ways from a pose on that are planned in a manner.

    A little more room is planned for than the limits insist on, since no way is followed to the centimetre.
    """
    margin, doubt = _room_due(known, manner.speed)
    due = RoomDue(margin + ASTRAY, doubt)
    outline = known.space.outlines[known.loaded]
    things = [*things_about(known, manner), *_target(known, start, outline.radius)]
    is_blind = known.loaded or not known.explored.is_looking
    prefers_known = is_blind and not manner.anywhere and known.explored.area > LEAST_EXPLORED
    return Clearance(known.space, outline, due, things, start, known.explored if prefers_known else None)


def clearance_to_turn(known: Knowledge) -> Clearance:
    """Return what keeps the outline clear in a turn on the spot from where the robot is.

    What it touched in a turn before it touched with any of its corners: that bars no turn the other way.
    """
    outline, due = known.space.outlines[known.loaded], _room_due(known, CREEP)
    return Clearance(known.space, outline, due, _seen_and_heard(known, Manner(CREEP)), known.pose)


def barest_clearance(known: Knowledge) -> Clearance:
    """Return what keeps the outline clear of what it would surely touch, and no more, from where the robot is."""
    outline = known.space.outlines[known.loaded]
    return Clearance(known.space, outline, _room_due(known, FEEL), things_about(known, FELT), known.pose)
