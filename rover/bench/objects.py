"""The objects to fetch: where they stand at the start, and how the robot's body pushes them about."""

import math
from collections.abc import Callable, Iterator
from random import Random
from typing import NamedTuple

from rover.bench.draws import stream
from rover.bench.floor import Solids, distance_to, wall
from rover.devices.jaws import JawsSize
from rover.errors import UserError
from rover.files.bench import BenchFile, mismatches
from rover.files.errand import Errand, Zone
from rover.files.robot import Body
from rover.geometry import inside

FROM_ZONE = 0.5
FROM_START = 0.6
FROM_EDGE = 0.35
APART = 0.35
TRIALS = 10_000


class Piece:
    """An object to fetch: its number from 1, kind, place (m, field frame), size (m), and whether it is held."""

    def __init__(self, number: int, kind: str, place: tuple[float, float], size: tuple[float, float]) -> None:
        self.number, self.kind = number, kind
        self.x, self.y = place
        self.radius, self.height = size[0] / 2.0, size[1]
        self.held = False


def pieces(file: BenchFile, errand: Errand, seed: int) -> list[Piece]:
    """Return the objects of a bench at their first places, the stated ones first.

    Raises:
        UserError: a kind that the errand does not have, or no room for all that are to be scattered.
    """
    unknown = mismatches(file, errand)
    if unknown:
        raise UserError("; ".join(f"the bench file: {why}" for _, why in unknown))
    wanted = [(standing.kind, (standing.x, standing.y)) for standing in file.objects]
    places = _places(file, errand, stream(seed, "scatter"), [place for _, place in wanted])
    wanted += [(kind, next(places)) for kind, number in file.scatter.items() for _ in range(number)]
    return [
        Piece(number, kind, place, (errand.kinds[kind].width, errand.kinds[kind].height))
        for number, (kind, place) in enumerate(wanted, 1)
    ]


def _places(
    file: BenchFile, errand: Errand, draws: Random, taken: list[tuple[float, float]]
) -> Iterator[tuple[float, float]]:
    is_free = _is_free(file, errand)
    xs, ys = zip(*errand.field.boundary, strict=True)
    for _ in range(TRIALS):
        x, y = draws.uniform(min(xs), max(xs)), draws.uniform(min(ys), max(ys))
        if is_free(x, y) and all(math.hypot(x - other_x, y - other_y) >= APART for other_x, other_y in taken):
            taken.append((x, y))
            yield x, y
    raise UserError(
        f"scatter: no room for {sum(file.scatter.values())} objects ({len(taken)} placed in {TRIALS} trials): "
        "scatter fewer, or give the errand a larger 'boundary'"
    )


def _is_free(file: BenchFile, errand: Errand) -> Callable[[float, float], bool]:
    """Return the test whether a place is inside the boundary and clear of its edge, of solids, zone and start."""
    corners, start, zone = errand.field.boundary, errand.field.start, errand.field.zone
    edges = [wall((corners[at - 1], corner)) for at, corner in enumerate(corners)]
    solids = Solids(file, errand)

    def is_free(x: float, y: float) -> bool:
        return (
            inside((x, y), corners)
            and min(distance_to(edge, x, y) for edge in edges) >= FROM_EDGE
            and solids.clearance(x, y) >= FROM_EDGE
            and math.hypot(x - start.x, y - start.y) >= FROM_START
            and (zone is None or outside_zone(x, y, zone) >= FROM_ZONE)
        )

    return is_free


def outside_zone(x: float, y: float, zone: Zone) -> float:
    """Return how far (m) a point is from the zone's rectangle; 0 inside and on its edge."""
    dx, dy = abs(x - zone.x) - zone.width / 2.0, abs(y - zone.y) - zone.depth / 2.0
    return math.hypot(max(dx, 0.0), max(dy, 0.0))


class Outline(NamedTuple):
    """The robot's outline (m, its own frame): body and jaws; ``radius`` is that of a circle that holds both.

    What the jaws hold stands ``reach`` ahead of the robot's middle, and the fingers end at ``tips``.
    """

    half_length: float
    half_width: float
    reach: float
    tips: float
    radius: float


def outline(body: Body, jaws: JawsSize) -> Outline:
    """Return the outline of a body with its jaws."""
    half_length, half_width = body.length / 2.0, body.width / 2.0
    tips = body.gripper_reach + jaws.tips
    radius = math.hypot(max(half_length, tips), max(half_width, jaws.half_width))
    return Outline(half_length, half_width, body.gripper_reach, tips, radius)


def pushed(
    ahead: float, left: float, radius: float, robot: Outline, jaws: tuple[float, float]
) -> tuple[float, float] | None:
    """Return where a piece goes that stands at (ahead, left) in the robot's frame; None where nothing touches it.

    It leaves the body, or a finger, on the side where it has sunk in least. ``jaws`` are the half widths (m) of the
    slot in which a piece's middle may stand (negative: no slot) and of the jaws from outside.
    """
    aside = abs(left)
    slot, outer = jaws[0], jaws[1] + radius
    front = back = robot.half_length + radius
    side = robot.half_width + radius
    if aside <= slot:
        # The body leaves a piece between the jaws the room that it has when it is held.
        front = min(front, robot.reach)
    if -back < ahead < front and aside < side:
        return _least(ahead, left, (front - ahead, back + ahead, side - aside, math.inf))
    tip = robot.tips + radius
    if robot.half_length < ahead < tip and slot < aside < outer:
        return _least(ahead, left, (tip - ahead, math.inf, outer - aside, aside - slot if slot > 0.0 else math.inf))
    return None


def _least(ahead: float, left: float, depths: tuple[float, float, float, float]) -> tuple[float, float]:
    """Move a point out by the least of its depths: forwards, backwards, outwards, inwards."""
    least = min(depths)
    if least == depths[0]:
        return ahead + least, left
    if least == depths[1]:
        return ahead - least, left
    outwards = math.copysign(least, left)
    return ahead, left + outwards if least == depths[2] else left - outwards
