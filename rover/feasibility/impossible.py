"""What of an errand cannot work on its field with its robot, and what probably is not meant; each with its place."""

import math
from collections.abc import Iterator, Mapping
from dataclasses import replace

from rover.devices.jaws import FINGER, jaws_size
from rover.estimate.field import ground_for
from rover.feasibility.layout import Layout, comes_to, standing_room, ways_in
from rover.feasibility.machine import cm, note_numbers_apart
from rover.files.errand import Errand
from rover.files.problems import Problem
from rover.files.yaml_source import KeyPath, Source
from rover.geometry import XY, cross
from rover.motion.outline import Surroundings, outline_of

UNREACHED_NOTED = 0.1
"""Of the field, so much may be out of the body's reach, or seen from no lookout, before that is worth a warning."""
BLIND = 0.95
"""With more of the field than this seen from no lookout, the camera as good as sees nothing that is to be fetched."""
SOUND_AREA = 600.0
"""Fields up to this (m^2), 30 x 20 m, are planned and searched without a late step."""

ZONE: KeyPath = ("field", "zone")


def impossible(layout: Layout, sources: Mapping[str, Source]) -> list[Problem]:
    """Return the mistakes and warnings of an errand whose files have been read: errand and robot file, by kind."""
    errand, robot = (replace(sources[kind], problems=[]) for kind in ("errand", "robot"))
    note_numbers_apart(layout.robot, robot)
    _note_walls(layout.errand, errand)
    _note_start(layout, errand)
    _note_tray(layout, errand)
    _note_places(layout, errand)
    _note_field(layout, errand)
    if layout.reach.reached.any():
        _note_marker(layout, errand)
    return [*errand.problems, *robot.problems]


def _note_walls(errand: Errand, source: Source) -> None:
    for name, (start, end) in errand.field.walls.items():
        if start == end:
            source.report(("field", "walls", name), "both ends of this wall are the same place; write where it ends")


def _note_start(layout: Layout, source: Source) -> None:
    """Note a start at which the robot cannot stand, or that it cannot leave."""
    where: KeyPath = ("field", "start")
    surroundings, outline = Surroundings(layout.ground), outline_of(layout.robot, layout.errand.widest, loaded=False)
    near, _ = surroundings.near(layout.start[:2], outline.radius)
    room, cause = surroundings.room(outline, layout.start, near)
    if room < 0.0:
        why = f"the body, with its jaws, would stand {cm(-room)} in the {cause} here; move the start or turn it"
        source.report(where, why)
    elif not layout.reach.reached.any():
        why = (
            f"the body cannot leave from here: its middle keeps {cm(layout.reach.need)} from boundary and walls, and "
            "nowhere beside it is so much room; move the start, or use a narrower body"
        )
        source.report(where, why)
    else:
        _note_turn(layout, source, where, "the start", layout.start[:2])


def _note_tray(layout: Layout, source: Source) -> None:
    zone = layout.ground.zone
    if zone is None or layout.robot.devices.gripper is None:
        return
    widest, c = layout.errand.widest, abs(math.cos(layout.ground.entry))
    along, across = ("width", "depth") if c > math.sqrt(0.5) else ("depth", "width")
    jaws = jaws_size(layout.robot.devices.gripper, widest)
    for key, due in ((across, widest + jaws.room(widest)), (along, widest + 4.0 * FINGER)):
        if getattr(zone, key) < due:
            why = f"no room for one slot and the jaws: for what is {cm(widest)} wide, make this {cm(due)} or more"
            source.report((*ZONE, key), why)
            return
    expected, slots = layout.errand.expect, len(layout.ground.slots)
    if expected is not None and expected > slots:
        why = f"more than the tray has slots ({slots}); make it larger, or expect less"
        source.report(("expect",), why, warning=True)
    if layout.barred:
        _note_barred(layout, source)
    if layout.gates:
        _note_gate(layout, source)


def _note_barred(layout: Layout, source: Source) -> None:
    """Note the slots with something in the way in: a mistake where they are all."""
    margin = layout.robot.limits.boundary_margin
    too_near = f"come nearer than 'boundary_margin' ({cm(margin)}) to" if margin else "be in"
    barring = " or ".join(
        sorted("a wall" if cause == "wall" else "the boundary" for cause in {*layout.barred.values()})
    )
    would = f"the body or the jaws would {too_near} {barring}"
    if not layout.gates:
        why = f"on the way straight into the tray, heading {_deg(layout.ground.entry)}, {would}; {_other_entry(layout)}"
        source.report((*ZONE, "entry"), why)
        return
    numbers = ", ".join(str(slot.number + 1) for slot in layout.barred)
    why = (
        f"slots {numbers} of {len(layout.ground.slots)} cannot be driven in to: there {would}; move the tray farther "
        "from it, or turn 'entry'"
    )
    source.report(ZONE, why, warning=True)


def _note_gate(layout: Layout, source: Source) -> None:
    reached = [gate for gate in layout.gates.values() if _is_reached(layout, gate[:2])]
    if reached:
        _note_turn(layout, source, ZONE, "the gate before the tray", reached[0][:2])
    else:
        gate = next(iter(layout.gates.values()))
        source.report(ZONE, f"the gate before it, at {_at(gate[:2])}, {_why_not_reached(layout, gate[:2])}")


def _other_entry(layout: Layout) -> str:
    """Return what to change where the tray cannot be driven in to."""
    errand, robot = layout.errand, layout.robot
    zone = errand.field.zone
    for heading in (0.0, 90.0, 180.0, -90.0):
        turned = zone and zone.model_copy(update={"entry": math.radians(heading)})
        entered = errand.model_copy(update={"field": errand.field.model_copy(update={"zone": turned})})
        gates, _ = ways_in(entered, robot, ground_for(entered, robot))
        if any(_is_reached(layout, gate[:2]) for gate in gates.values()):
            return f"write 'entry: {heading:g} deg', or move the tray"
    return "move the tray farther from it"


def _note_places(layout: Layout, source: Source) -> None:
    field = layout.errand.field
    named: list[tuple[KeyPath, str, XY]] = [
        (("field", "places", name), f"the place '{name}'", (place.x, place.y)) for name, place in field.places.items()
    ]
    named += [(("field", "lookouts", index), "this lookout", place) for index, place in enumerate(field.lookouts)]
    for where, what, place in named:
        if not _is_reached(layout, place):
            source.report(where, f"{what} {_why_not_reached(layout, place)}")
        else:
            _note_turn(layout, source, where, what, place)


def _note_turn(layout: Layout, source: Source, where: KeyPath, what: str, place: XY) -> None:
    room = layout.ground.clearance(*place)
    if room < layout.turns_within:
        why = (
            f"{what} is {cm(room)} from a wall or the boundary, and a turn on the spot there, with something in the "
            f"jaws, takes {cm(layout.turns_within)}; move it away from there"
        )
        source.report(where, why, warning=True)


def _is_reached(layout: Layout, place: XY) -> bool:
    """Tell whether the body can come to a place; from a start that it cannot leave, only whether there is room."""
    if layout.reach.reached.any():
        return comes_to(layout.robot, layout.reach, place)
    return layout.ground.clearance(*place) >= standing_room(layout.robot)


def _why_not_reached(layout: Layout, place: XY) -> str:
    """Return why the body cannot come from the start to a place, and what to change."""
    width, room, due = layout.robot.body.width, layout.ground.clearance(*place), standing_room(layout.robot)
    if room < 0.0:
        return "lies outside the field's boundary; move it inside"
    if room < due:
        needs = f"the body, {cm(width)} wide, needs {cm(due)} there"
        return f"is {cm(room)} from a wall or the boundary; {needs}; move it away from there"
    passage = layout.reach.narrowest(layout.start[:2], place)
    if passage is None or passage.width <= 0.0:
        return "cannot be reached from the start: boundary or walls shut it off; leave a doorway, or move it"
    return (
        f"cannot be reached from the start: the widest way there is {cm(passage.width)} wide at {_at(passage[:2])}, "
        f"and the body, {cm(width)} wide, needs {cm(2.0 * layout.reach.need)}; widen it, or move what is behind it"
    )


def _note_marker(layout: Layout, source: Source) -> None:
    """Note a marker that no place on the ground in reach shows to the camera."""
    marker, camera = layout.ground.marker, layout.robot.devices.camera
    if marker is None or camera is None:
        return
    if not any(
        math.dist(place, marker) <= camera.sees_to and _sees(layout, place, marker) for place in _vantages(layout)
    ):
        why = (
            f"the camera cannot sight the marker here from anywhere in reach: a wall is between, or it is farther than "
            f"'sees_to' ({camera.sees_to:g} m); move it to where the tray is seen from"
        )
        source.report(("field", "zone", "marker"), why)


def _vantages(layout: Layout) -> Iterator[XY]:
    """Yield places in reach from which the marker may be sighted: the gates, then some all over the field."""
    yield from (gate[:2] for gate in layout.gates.values())
    rows, columns = layout.reach.reached.shape
    for row in range(0, rows, 5):
        for column in range(0, columns, 5):
            if layout.reach.reached[row, column]:
                yield layout.reach.middle((row, column))


def _sees(layout: Layout, place: XY, marker: XY) -> bool:
    return not any(cross(place, marker, *wall) for wall in layout.ground.walls)


def _note_field(layout: Layout, source: Source) -> None:
    reach = layout.reach
    if reach.reached.any() and (missing := 1.0 - reach.share) > UNREACHED_NOTED:
        why = (
            f"{missing:.0%} of the field cannot be reached by this body, whose middle keeps {cm(reach.need)} from "
            "boundary and walls; what stands there stays there ('rover check ERRAND --picture' shows where)"
        )
        source.report(("field", "boundary"), why, warning=True)
    _note_unseen(layout, source)
    area = float((reach.room > 0.0).sum()) * reach.square**2
    if area > SOUND_AREA:
        why = f"{area:.0f} m^2; nobody has tried more than {SOUND_AREA:.0f} m^2 (30 x 20 m), and steps may come late"
        source.report(("field", "boundary"), why, warning=True)


def _note_unseen(layout: Layout, source: Source) -> None:
    """Note lookouts of the errand's, all in reach, that leave much of the field unseen."""
    outlook, given = layout.outlook, layout.errand.field.lookouts
    if outlook is not None and outlook.lookouts and outlook.unseen_share > BLIND and layout.errand.kinds:
        why = "the camera sees them from nowhere in reach: check their 'height', and its own 'height' and 'tilt'"
        source.report(("kinds",), why, warning=True)
        return
    if outlook is None or not given or len(outlook.lookouts) < len(given) or outlook.unseen_share <= UNREACHED_NOTED:
        return
    why = (
        f"{outlook.unseen_share:.0%} of the field is seen from none of these, and counts as not searched; add lookouts"
    )
    source.report(("field", "lookouts"), why, warning=True)


def _at(place: XY) -> str:
    return f"x {place[0]:.2f} m, y {place[1]:.2f} m"


def _deg(angle: float) -> str:
    return f"{math.degrees(angle):.0f} deg"
