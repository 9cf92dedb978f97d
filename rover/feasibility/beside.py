"""What of an errand does not go together with itself or with the other files; looked at before every run, so cheap."""

from collections.abc import Iterator

from rover.behaviour.model import BehaviourGraph
from rover.files.bench import BenchFile, mismatches
from rover.files.errand import Errand, FieldPlan, Zone
from rover.files.load import Loaded
from rover.files.robot import Robot
from rover.files.yaml_source import KeyPath
from rover.geometry import XY, distance_to_segment, inside

ON_THE_EDGE = 0.02
"""What is no farther than this (m) outside the boundary stands on it: a marker on a wall, a tray along one."""
SETS_DOWN, THE_GATE = "set_down", "zone.gate"


def note_mismatches(
    errand: Loaded[Errand],
    robot: Loaded[Robot] | None,
    bench: Loaded[BenchFile] | None,
    graph: BehaviourGraph | None,
) -> None:
    """Note in the errand's and the bench's source what does not go together with the other files."""
    field = errand.model.field
    for where, what in _outside(field):
        why = f"{what} lies outside the field's boundary; move it inside, or move the boundary's corners"
        errand.source.report(("field", *where), why)
    if graph is not None and field.zone is None and (use := _use_of_tray(graph)):
        why = f"{use}, but the field has no tray; add 'zone: {{x: ..., y: ..., width: ..., depth: ...}}' here"
        errand.source.report(("field",), why, of_key=True)
    if robot is not None:
        _note_robots(errand, robot.model)
    if bench is not None:
        for place, why in mismatches(bench.model, errand.model):
            bench.source.report(place, why, of_key=place[0] == "scatter")


def _outside(field: FieldPlan) -> Iterator[tuple[KeyPath, str]]:
    """Yield what lies outside the boundary: where it stands below the field, and what it is called."""
    start = field.start
    if not inside((start.x, start.y), field.boundary):
        yield ("start",), "the start"
    for index, lookout in enumerate(field.lookouts):
        if _is_outside(lookout, field):
            yield ("lookouts", index), "this lookout"
    for name, place in field.places.items():
        if _is_outside((place.x, place.y), field):
            yield ("places", name), f"the place '{name}'"
    zone = field.zone
    if zone is None:
        return
    if _is_outside((zone.x, zone.y), field):
        yield ("zone",), "the tray"
    elif any(_is_outside(corner, field) for corner in _corners(zone)):
        yield ("zone",), "a corner of the tray"
    if zone.marker is not None and _is_outside(zone.marker, field):
        yield ("zone", "marker"), "the tray's marker"


def _is_outside(place: XY, field: FieldPlan) -> bool:
    if inside(place, field.boundary):
        return False
    sides = zip(field.boundary, (*field.boundary[1:], field.boundary[0]), strict=True)
    return all(distance_to_segment(place, *side) > ON_THE_EDGE for side in sides)


def _corners(zone: Zone) -> list[XY]:
    x, y, across, up = zone.x, zone.y, 0.5 * zone.width, 0.5 * zone.depth
    return [(x - across, y - up), (x + across, y - up), (x + across, y + up), (x - across, y + up)]


def _use_of_tray(graph: BehaviourGraph) -> str:
    """Return which state of a behaviour needs the tray, and where it stands; '' if none does."""
    states = list(graph.states.values())
    if state := next((one for one in states if one.activity == SETS_DOWN), None):
        return f"'{state.name}' of the behaviour ({state.where}) sets things down"
    going = (one for one in states if any(value.constant == THE_GATE for value in one.parameters.values()))
    if state := next(going, None):
        return f"'{state.name}' of the behaviour ({state.where}) drives to the tray's gate"
    return ""


def _note_robots(errand: Loaded[Errand], robot: Robot) -> None:
    """Note what the robot does not have that the errand needs."""
    zone = errand.model.field.zone
    if robot.devices.camera is not None:
        for name, kind in errand.model.kinds.items():
            if kind.lid not in robot.colours:
                known = ", ".join(robot.colours) or "none"
                why = f"the robot file's 'colours' do not have '{kind.lid}' (known: {known})"
                errand.source.report(("kinds", name, "lid"), why)
    if robot.marker is None and zone is not None and zone.marker is not None:
        why = "the robot file has no 'marker:', so its camera does not know the plate that stands here"
        errand.source.report(("field", "zone", "marker"), why, warning=True)
    opens_to = None if robot.devices.gripper is None else robot.devices.gripper.opens_to
    for name, kind in errand.model.kinds.items():
        if opens_to is not None and kind.width >= opens_to:
            why = f"the open jaws take less than this: the robot file's 'opens_to' is {opens_to * 1000:.0f} mm"
            errand.source.report(("kinds", name, "width"), why)
