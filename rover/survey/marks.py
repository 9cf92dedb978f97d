"""What was marked on a floor, and the floor that follows from it.

A corner marked again at the end closes the round: by what it is off, all marks are moved in proportion to the way that
led to them (the compass rule of traverse surveying; Bowditch, 1808; from memory).
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import Enum
from itertools import pairwise
from typing import NamedTuple

from rover.files.robot import Robot
from rover.geometry import XY, Pose
from rover.survey.track import Stand

CLOSES_WITHIN, SNAPS_WITHIN = 0.6, 0.3
"""Metres within which a corner is the first one again, and within which it stands at a wall."""
SQUARE = math.radians(8.0)
"""How far from square to a wall a person has the robot stand, at most."""
ECHO_SIGMA, SQUARE_SIGMA = 0.02, math.radians(6.0)
"""What two echoes of one wall differ by, position included (m), and how square a person has the robot stand."""
SAME_WALL, RIGHT_ANGLE = math.radians(30.0), 0.5 * math.pi
LEAST_CORNERS = 3


class What(Enum):
    """What is marked."""

    CORNER = "corner"
    WALL = "wall"
    TRAY = "corner of the tray"
    MARKER = "marker"
    PLACE = "place"


class Mark(NamedTuple):
    """A mark: the pose of the robot, how sure it is (m, rad), the way so far (m), and before a wall the echo (m)."""

    what: What
    stand: Stand
    echo: float = 0.0


@dataclass(frozen=True)
class Wall:
    """A wall's line: points with ``x cos(normal) + y sin(normal) = offset``; ``feet`` were ranged to."""

    normal: float
    offset: float
    feet: tuple[XY, ...]
    sigma: float

    def beyond(self, point: XY) -> float:
        """Return how far a point lies beyond it (m)."""
        return point[0] * math.cos(self.normal) + point[1] * math.sin(self.normal) - self.offset


class Point(NamedTuple):
    """A place and its standard deviation (m)."""

    xy: XY
    sigma: float


class Floor(NamedTuple):
    """The floor that follows from the marks.

    Attributes:
        boundary: its corners.
        walls: by name, both ends.
        tray: corners that were marked.
        places: by name, pose and standard deviation.
        closing: by how much the first corner, marked again, was off (m); None where it was not.
    """

    boundary: tuple[Point, ...]
    walls: dict[str, tuple[XY, XY, float]]
    tray: tuple[Point, ...]
    marker: Point | None
    places: dict[str, tuple[Pose, float]]
    closing: float | None


def floor_of(marks: Sequence[Mark], robot: Robot) -> Floor:
    """Return the floor that follows from marks in the order in which they were set."""
    marks, closing = _closed(marks, robot)
    walls = _walls(marks, robot)
    corners = [_at_jaws(mark, robot) for mark in marks if mark.what is What.CORNER]
    boundary = [_snapped(corner, walls) for corner in corners]
    if len(boundary) < LEAST_CORNERS:
        boundary = list(_where_walls_meet(walls)) or boundary
    places = [mark.stand for mark in marks if mark.what is What.PLACE]
    markers = [_at_jaws(mark, robot) for mark in marks if mark.what is What.MARKER]
    return Floor(
        tuple(boundary),
        _named([(wall, *_ends(wall, [corner.xy for corner in boundary])) for wall in walls]),
        tuple(_at_jaws(mark, robot) for mark in marks if mark.what is What.TRAY),
        markers[-1] if markers else None,
        {f"place_{number}": (stand.pose, stand.sigma) for number, stand in enumerate(places, 1)},
        closing,
    )


def _at_jaws(mark: Mark, robot: Robot) -> Point:
    """Return the point that is marked: where a held object's middle would be."""
    reach = robot.body.gripper_reach
    return Point(mark.stand.pose.beside(reach, 0.0), math.hypot(mark.stand.sigma, reach * mark.stand.heading_sigma))


def _closed(marks: Sequence[Mark], robot: Robot) -> tuple[list[Mark], float | None]:
    """Return the marks with a round closed where the last corner is the first one again, and by how much it was off."""
    corners = [mark for mark in marks if mark.what is What.CORNER]
    if len(corners) <= LEAST_CORNERS:
        return list(marks), None
    first, last = corners[0], corners[-1]
    (x0, y0), (x1, y1) = _at_jaws(first, robot).xy, _at_jaws(last, robot).xy
    off = math.hypot(x1 - x0, y1 - y0)
    way = last.stand.travelled - first.stand.travelled
    if off > CLOSES_WITHIN or way <= 0.0:
        return list(marks), None

    def moved(mark: Mark) -> Mark:
        share = (mark.stand.travelled - first.stand.travelled) / way
        pose = mark.stand.pose
        at = Pose(pose.x - share * (x1 - x0), pose.y - share * (y1 - y0), pose.heading)
        return mark._replace(stand=mark.stand._replace(pose=at))

    return [moved(mark) for mark in marks if mark is not last], off


def _walls(marks: Sequence[Mark], robot: Robot) -> list[Wall]:
    """Return the walls in the order in which they were marked first: marks that look at the same line are one."""
    groups: list[list[Mark]] = []
    for mark in (one for one in marks if one.what is What.WALL):
        group = next((one for one in groups if _is_of(mark, _fitted(one, robot), robot)), None)
        if group is None:
            groups.append([mark])
        else:
            group.append(mark)
    return _squared(groups, [_fitted(group, robot) for group in groups], robot)


def _squared(groups: Sequence[Sequence[Mark]], walls: list[Wall], robot: Robot) -> list[Wall]:
    """Return walls at right angles to one another where all nearly are: most rooms are built so."""
    first = walls[0].normal if walls else 0.0
    quarters = [round((wall.normal - first) / RIGHT_ANGLE) * RIGHT_ANGLE for wall in walls]
    off = [
        math.remainder(wall.normal - first - quarter, math.tau) for wall, quarter in zip(walls, quarters, strict=True)
    ]
    if len(walls) < 2 or max(off) - min(off) > SQUARE:
        return walls
    middle = first + sum(off) / len(off)

    def misfit(normal: float) -> float:
        return sum(_misfit(group, normal + turn, robot) for group, turn in zip(groups, quarters, strict=True))

    normal = min((middle + SQUARE * step / 80.0 for step in range(-80, 81)), key=misfit)
    return [_along(group, normal + turn, robot) for group, turn in zip(groups, quarters, strict=True)]


def _is_of(mark: Mark, wall: Wall, robot: Robot) -> bool:
    turned = abs(math.remainder(mark.stand.pose.heading - wall.normal, math.tau))
    return turned < SAME_WALL and abs(wall.beyond(_foot(mark, mark.stand.pose.heading, robot))) < SNAPS_WITHIN


def _sensor(mark: Mark, robot: Robot) -> XY:
    finder = robot.devices.range
    assert finder is not None
    return mark.stand.pose.beside(finder.mount.ahead, finder.mount.left)


def _foot(mark: Mark, normal: float, robot: Robot) -> XY:
    """Return the nearest point of a wall that stands square to a direction: a range finder hears that one."""
    x, y = _sensor(mark, robot)
    return x + mark.echo * math.cos(normal), y + mark.echo * math.sin(normal)


def _fitted(group: Sequence[Mark], robot: Robot) -> Wall:
    """Return the wall that fits best: its echoes tell the same line, and the robot stood about square to it."""
    looked = _looked(group)
    normals = (looked + SQUARE * step / 80.0 for step in range(-80, 81))
    return _along(group, min(normals, key=lambda normal: _misfit(group, normal, robot)), robot)


def _looked(group: Sequence[Mark]) -> float:
    """Return in which direction the robot looked, in the mean of some marks."""
    first = group[0].stand.pose.heading
    return first + sum(math.remainder(mark.stand.pose.heading - first, math.tau) for mark in group) / len(group)


def _misfit(group: Sequence[Mark], normal: float, robot: Robot) -> float:
    """Return by how many variances echoes and the robot's standing are off from a wall square to a direction."""
    offsets = _offsets(group, normal, robot)
    spread = (max(offsets) - min(offsets)) / ECHO_SIGMA
    turned = math.remainder(normal - _looked(group), math.tau) / SQUARE_SIGMA
    return spread * spread + turned * turned


def _along(group: Sequence[Mark], normal: float, robot: Robot) -> Wall:
    """Return the wall that stands square to a direction."""
    offsets = _offsets(group, normal, robot)
    feet = tuple(_foot(mark, normal, robot) for mark in group)
    return Wall(normal, sum(offsets) / len(offsets), feet, max(mark.stand.sigma for mark in group))


def _offsets(group: Sequence[Mark], normal: float, robot: Robot) -> list[float]:
    c, s = math.cos(normal), math.sin(normal)
    return [x * c + y * s for x, y in (_foot(mark, normal, robot) for mark in group)]


def _meet(one: Wall, other: Wall) -> Point | None:
    """Return where two walls meet, None where they run alike."""
    turn = math.sin(other.normal - one.normal)
    if abs(turn) < math.sin(SAME_WALL):
        return None
    x = (one.offset * math.sin(other.normal) - other.offset * math.sin(one.normal)) / turn
    y = (other.offset * math.cos(one.normal) - one.offset * math.cos(other.normal)) / turn
    return Point((x, y), math.hypot(one.sigma, other.sigma))


def _snapped(corner: Point, walls: Sequence[Wall]) -> Point:
    """Return a corner where the walls near it meet; beside one wall, on its line."""
    near = sorted(
        (wall for wall in walls if abs(wall.beyond(corner.xy)) < SNAPS_WITHIN),
        key=lambda one: abs(one.beyond(corner.xy)),
    )
    for one, other in pairwise(near):
        met = _meet(one, other)
        if met is not None and math.dist(met.xy, corner.xy) < 2.0 * SNAPS_WITHIN:
            return met
    if near:
        beyond = near[0].beyond(corner.xy)
        c, s = math.cos(near[0].normal), math.sin(near[0].normal)
        return Point((corner.xy[0] - beyond * c, corner.xy[1] - beyond * s), corner.sigma)
    return corner


def _where_walls_meet(walls: Sequence[Wall]) -> Iterator[Point]:
    """Yield the corners of a room whose walls were ranged to one after the other, all round."""
    if len(walls) >= LEAST_CORNERS:
        for one, other in zip(walls, [*walls[1:], walls[0]], strict=True):
            if (met := _meet(one, other)) is not None:
                yield met


def _ends(wall: Wall, corners: Sequence[XY]) -> tuple[XY, XY]:
    """Return the ends of a wall: the side of the boundary that it stands at, or what was ranged to of it."""
    for a, b in zip(corners, [*corners[1:], *corners[:1]], strict=True):
        if max(abs(wall.beyond(a)), abs(wall.beyond(b))) < 0.5 * SNAPS_WITHIN and a != b:
            return a, b
    along = (-math.sin(wall.normal), math.cos(wall.normal))
    ways = [x * along[0] + y * along[1] for x, y in wall.feet]
    ends = min(ways) - 0.25, max(ways) + 0.25
    foot = wall.offset * math.cos(wall.normal), wall.offset * math.sin(wall.normal)
    first, last = ((foot[0] + way * along[0], foot[1] + way * along[1]) for way in ends)
    return first, last


def _named(walls: Sequence[tuple[Wall, XY, XY]]) -> dict[str, tuple[XY, XY, float]]:
    """Return walls by the side on which they stand: east is where the x axis leads."""
    found: dict[str, tuple[XY, XY, float]] = {}
    for wall, a, b in walls:
        side = ("east", "north", "west", "south")[round(wall.normal / RIGHT_ANGLE) % 4]
        names = [side, *(f"{side}_{number}" for number in range(2, 100))]
        found[next(name for name in names if name not in found)] = (a, b, wall.sigma)
    return found
