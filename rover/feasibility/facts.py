"""What follows from an errand's files: lines for a person, so that a wrong number shows before anything moves."""

import math
from collections import Counter
from collections.abc import Iterator

from rover.activities.looking import FRAMES_A_LOOK, STEP_SHARE
from rover.behaviour.model import BehaviourGraph
from rover.devices.camera.keys import CameraKeys
from rover.feasibility.beside import SETS_DOWN
from rover.feasibility.layout import Layout
from rover.feasibility.machine import ground_in_view, m, robot_facts
from rover.feasibility.reachable import mean_distance
from rover.files.bench import BenchFile
from rover.files.errand import Errand
from rover.files.robot import Robot
from rover.motion.limits import fastest
from rover.vision.lens import focal_length

SETTLING = 0.3
"""Seconds that a turn takes to come to rest at its heading, besides its ramps."""
HANDLING = 30.0
"""Seconds for which an object is approached by sight, gripped, tugged at, set down and looked back at: what the
rehearsals of the demo take besides driving and looking round."""
DETOUR, CRUISE = 1.3, 0.8
"""A way is so much longer than the straight line, and driven at this share of the limit, with ramps and turns."""


def errand_facts(layout: Layout, graph: BehaviourGraph, bench: BenchFile | None) -> Iterator[str]:
    """Yield what follows from an errand's files together."""
    errand, robot, reach = layout.errand, layout.robot, layout.reach
    area = float((reach.room > 0.0).sum()) * reach.square**2
    yield f"the field is {area:.{0 if area > 20.0 else 1}f} m^2, of which the body can come to {reach.share:.0%}"
    yield from _tray(layout)
    yield from robot_facts(robot)
    camera = robot.devices.camera
    if camera is not None and errand.kinds:
        yield _pixels(camera, robot, errand)
    look = None if camera is None else _look_seconds(robot, camera, graph)
    if camera is not None and look is not None:
        yield f"one look round takes {look:.0f} s, in {_views(camera)} views"
    if layout.outlook is not None and look is not None:
        places, seen = len(layout.outlook.lookouts), 1.0 - layout.outlook.unseen_share
        ground = "the field" if layout.ground.zone is None else "the field outside the tray"
        yield f"from its {places} places to look round the camera sees {seen:.0%} of {ground}"
    if layout.gates and any(state.activity == SETS_DOWN for state in graph.states.values()):
        objects, whose = _objects(layout, bench)
        if objects:
            yield f"the errand takes about {_minutes(layout, objects, look or 0.0):.0f} min for {whose}"


def _tray(layout: Layout) -> Iterator[str]:
    slots = len(layout.ground.slots)
    if layout.gates:
        gate = next(iter(layout.gates.values()))
        heading = math.degrees(gate.heading)
        yield (
            f"the tray has {slots} slot{'s' * (slots != 1)}; the gate of the first is at x {gate.x:.2f} m, "
            f"y {gate.y:.2f} m, heading {heading:.0f} deg"
        )
    if passage := layout.way_home:
        body, need = layout.robot.body.width, 2.0 * layout.reach.need
        yield (
            f"the way from the start to it is {m(passage.width)} wide at its narrowest, at x {passage.x:.2f} m, "
            f"y {passage.y:.2f} m; the body is {m(body)} wide and needs {m(need)}"
        )


def _pixels(camera: CameraKeys, robot: Robot, errand: Errand) -> str:
    """Return how large the widest kind looks."""
    name, kind = max(errand.kinds.items(), key=lambda pair: pair[1].width)
    near, far = ground_in_view(robot)
    focal = focal_length(camera.frame_width, camera.field_of_view)
    at_near, at_far = (focal * kind.width / math.hypot(distance, camera.height) for distance in (near, far))
    lid = f"a lid of {name}, {kind.width * 1000.0:.0f} mm wide,"
    return f"there {lid} takes {at_near:.0f} pixels at the near edge, {at_far:.0f} at the far one"


def _views(camera: CameraKeys) -> int:
    return math.ceil(2.0 * math.pi / (STEP_SHARE * camera.field_of_view))


def _look_seconds(robot: Robot, camera: CameraKeys, graph: BehaviourGraph) -> float | None:
    """Return how long a whole `sweep` takes; None where the behaviour has none."""
    sweep = next((state for state in graph.states.values() if state.activity == "sweep"), None)
    if sweep is None:
        return None
    given = sweep.parameters.get("rate")
    limits = robot.limits
    rate = min(limits.turn_rate, given.constant if given is not None and given.constant else math.inf)
    step, ramp = STEP_SHARE * camera.field_of_view, limits.turn_acceleration
    turn = step / rate + rate / ramp if step * ramp >= rate * rate else 2.0 * math.sqrt(step / ramp)
    return _views(camera) * (turn + SETTLING + FRAMES_A_LOOK / camera.rate + camera.latency)


def _objects(layout: Layout, bench: BenchFile | None) -> tuple[int, str]:
    """Return how many objects there may be, and in words."""
    if (expected := layout.errand.expect) is not None:
        return expected, f"the {expected} objects expected"
    order = layout.errand.order
    fetched = layout.errand.kinds if isinstance(order, str) else order
    stand = [] if bench is None else [*(one.kind for one in bench.objects), *Counter(bench.scatter).elements()]
    if on_bench := sum(kind in fetched for kind in stand):
        return on_bench, f"the {on_bench} objects of the bench"
    slots = len(layout.ground.slots)
    return slots, f"{slots} objects, one in every slot"


def _minutes(layout: Layout, objects: int, look: float) -> float:
    """Return how long the errand takes by a plain estimate: for each object a look round, there and back, and handling.

    Nine objects on the demo's bench: 10 min; its rehearsals take that (seeds 1 and 2: 603 and 613 s).
    """
    gate = next(iter(layout.gates.values()))
    drive = 2.0 * DETOUR * mean_distance(layout.reach, (gate.x, gate.y)) / (CRUISE * fastest(layout.robot)[0])
    return max(1.0, objects * (look + drive + HANDLING) / 60.0)
