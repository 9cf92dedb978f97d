"""Position fixes: what known walls and the tray's marker tell of the pose. Each is a gated correction of the filter.

A range to a wall fixes one axis only: the sonar hears the nearest point in its cone, which is the foot of the
perpendicular whatever the heading is within the beam. A sighting of the marker fixes along the line of sight (by its
distance) and across it (by its bearing).
"""

import math
from collections.abc import Collection, Iterable
from dataclasses import dataclass, field
from typing import NamedTuple

from rover.devices.mount import Mount
from rover.devices.readings import Detection
from rover.estimate.contradictions import LEAST, Off, Witness
from rover.estimate.covariance import HEADING, TURN_AHEAD, TURN_LEFT, Covariance, X, Y, without_noise
from rover.estimate.pose import PoseFilter
from rover.geometry import XY, Pose, cross
from rover.quantities import wrap

RANGE_SIGMA = 0.025
"""Standard deviation of an echo from a wall, the wall's own place included (m)."""
WALL_PLACE_SIGMA = 0.006
"""Standard deviation of a wall's own place (m), a centimetre either way: no number of echoes makes the position better
known than that."""
MARKER_PLACE_SIGMA = 0.006
"""The same of the marker's (m)."""
NEARER = 2.0
"""An echo from so many standard deviations before a wall comes as likely from something that stands there: one in
fifty of the wall's own is as near, and in more places than one in fifty something stands that nobody has seen."""
SURELY_IN_BEAM = 0.7
"""A wall counts as heard when its perpendicular lies within this share of half the beam."""
FARTHEST_WALL = 2.5
END_MARGIN = 0.15
"""The perpendicular's foot must lie this far (m) from the wall's ends."""
NEAREST_MARKER = 0.1
"""From nearer than this (m) where it is believed to stand, a sighting tells no direction."""
MARKER_FACTOR = 2.0
"""A sighting's own deviations are taken this many times larger: frames of one view err alike."""


BEFORE, BESIDE_BEAM = 0.02, 0.05
"""Other walls' ends that are nearer than a wall by so much (m), or so little (rad) outside the cone, hide it."""


class WallView(NamedTuple):
    """A wall as a range finder faces it: unit normal towards the robot, predicted distance (m), and which one it is."""

    normal: XY
    distance: float
    number: int = 0


def wall_in_view(
    pose: Pose, mount: Mount, half_beam: float, walls: Collection[tuple[XY, XY]], things: Iterable[XY]
) -> WallView | None:
    """Return the wall that a range finder should hear, or None where it is not plain which.

    Args:
        pose: of the robot.
        mount: of the sensor's face on the robot.
        half_beam: half the cone's angle (rad).
        walls: the known walls.
        things: objects that may stand nearer than the wall.
    """
    face = mount.on(pose)
    views = [
        view._replace(number=number)
        for number, (a, b) in enumerate(walls)
        if (view := _view(face, half_beam, a, b)) is not None
    ]
    nearest = min(views, key=lambda view: view.distance, default=None)
    if nearest is None or _is_behind(face, half_beam, nearest, walls):
        return None
    return None if ways_to(face, half_beam, nearest.distance, things) else nearest


def is_of_another(echo: float, view: WallView, sigma: float, ways: Iterable[float]) -> bool:
    """Tell whether an echo (m) fits something before the wall that a range finder faces better than the wall.

    A position that is less sure than the way between them (``sigma``, m, across the wall) does not tell them apart: the
    robot may have heard that very wall there, and been elsewhere than it believed.

    Args:
        echo: how far off it came from.
        view: the wall.
        sigma: standard deviation of the position across the wall.
        ways: how far (m) other things are, as of `ways_to`.
    """
    before = (way for way in ways if view.distance - way > sigma)
    return any(abs(echo - way) <= view.distance - echo for way in before)


def facing(pose: Pose, a: XY, b: XY) -> float:
    """Return the heading (rad) square to the wall ab, towards it."""
    along = math.atan2(b[1] - a[1], b[0] - a[0])
    aside = (pose.x - a[0]) * math.sin(along) - (pose.y - a[1]) * math.cos(along)
    return wrap(along + math.copysign(math.pi / 2.0, aside))


def _view(face: Pose, half_beam: float, a: XY, b: XY) -> WallView | None:
    dx, dy = b[0] - a[0], b[1] - a[1]
    length = math.hypot(dx, dy)
    if length < 2.0 * END_MARGIN:
        return None
    along = ((face.x - a[0]) * dx + (face.y - a[1]) * dy) / length
    away = ((face.x - a[0]) * dy - (face.y - a[1]) * dx) / length
    side = 1.0 if away >= 0.0 else -1.0
    normal = (side * dy / length, -side * dx / length)
    aslant = wrap(math.atan2(-normal[1], -normal[0]) - face.heading)
    plain = END_MARGIN <= along <= length - END_MARGIN and abs(aslant) <= SURELY_IN_BEAM * half_beam
    return WallView(normal, abs(away)) if plain and abs(away) <= FARTHEST_WALL else None


def _is_behind(face: Pose, half_beam: float, view: WallView, walls: Collection[tuple[XY, XY]]) -> bool:
    """Tell whether a wall stands before the one in view, or ends within the cone nearer than that: an end echoes."""
    x, y, heading = face
    most, (nx, ny) = view.distance - BEFORE, view.normal
    foot = x - most * nx, y - most * ny
    return any(
        cross((x, y), foot, *wall)
        or any(
            math.dist((x, y), end) < most
            and abs(wrap(math.atan2(end[1] - y, end[0] - x) - heading)) < half_beam + BESIDE_BEAM
            for end in wall
        )
        for wall in walls
    )


def ways_to(face: Pose, half_beam: float, distance: float, things: Iterable[XY]) -> list[float]:
    """Return how far (m) things are from a range finder's face that may be heard before a wall at a distance."""
    x, y, heading = face
    ways = ((px - x, py - y) for px, py in things)
    return [
        way
        for dx, dy in ways
        if (way := math.hypot(dx, dy)) < distance + 0.1 and abs(wrap(math.atan2(dy, dx) - heading)) < half_beam + 0.2
    ]


def fix_by_wall(pose_filter: PoseFilter, view: WallView, mount: Mount, distance: float) -> bool:
    """Correct by a range (m) to a wall; return False when it may come from something before that, or the gate refuses
    it."""
    nx, ny = view.normal
    beyond = distance - view.distance
    pose_filter.propagate()
    noise = RANGE_SIGMA * math.sqrt(max(1.0, pose_filter.sources["wall"].factor))
    if beyond < -NEARER * math.hypot(pose_filter.believed_doubt.along(nx, ny), noise):
        return False
    slopes = _wall_slopes(view, mount, pose_filter.heading)
    if beyond > -LEAST:  # nearer, it may be something else
        off = Off(view.normal, beyond, math.hypot(pose_filter.sigma_of(slopes), RANGE_SIGMA))
        pose_filter.witness(Witness(f"wall {view.number}"), off)
    if pose_filter.hear("wall", slopes, beyond, RANGE_SIGMA**2, WALL_PLACE_SIGMA**2):
        return True
    if beyond > 0.0:  # nobody hears through a wall
        pose_filter.doubt("wall", slopes)
    return False


def surer_by_wall(pose_filter: PoseFilter, pose: Pose, view: WallView, mount: Mount, echoes: int) -> float:
    """Return how much surer (m) of its position a robot will be for going to a pose to hear a wall from.

    Of where it will be after its next turn, too: a wall on the other side than the last one tells of the point about
    which the base turns, without which each turn loses position. What the way costs, the echoes have to make good.
    """
    motion = pose_filter.way_to(pose)
    now, covariance = _unsure(pose_filter.after(without_noise(motion))), pose_filter.after(motion)
    shared, predicted = covariance.against(_wall_slopes(view, mount, pose.heading))
    covariance.shrink(shared, predicted + RANGE_SIGMA**2 / echoes + WALL_PLACE_SIGMA**2)
    return now - _unsure(covariance)


def _unsure(covariance: Covariance) -> float:
    """Return how far (m) off the position is, both axes together, and after a turn by who knows how much besides.

    The point about which the base turns stays where it is; the middle goes round it.
    """
    x, y, ahead, left = (covariance.rows[state][state] for state in (X, Y, TURN_AHEAD, TURN_LEFT))
    return math.sqrt(x + y + 2.0 * (ahead + left))


def _wall_slopes(view: WallView, mount: Mount, heading: float) -> tuple[tuple[int, float], ...]:
    """Return the derivatives of a range to a wall by the states, for a robot with a heading (rad)."""
    (nx, ny), c, s = view.normal, math.cos(heading), math.sin(heading)
    with_heading = nx * (-mount.ahead * s - mount.left * c) + ny * (mount.ahead * c - mount.left * s)
    return (X, nx), (Y, ny), (HEADING, with_heading)


def fix_by_marker(pose_filter: PoseFilter, taken_ns: int, camera_ahead: float, marker: XY, seen: Detection) -> bool:
    """Correct by a sighting of the marker; return False when the gate refuses its distance or bearing.

    Args:
        pose_filter: what is corrected.
        taken_ns: when the frame was taken.
        camera_ahead: of the camera from the robot's middle (m).
        marker: where it stands in the field (m).
        seen: the marker, as the frame shows it.
    """
    passed = True
    for look in (_look_at_distance, _look_at_bearing):  # the second from where the first has moved the estimate to
        pose = pose_filter.at(taken_ns)
        eye_x, eye_y = pose.beside(camera_ahead, 0.0)
        aim = _Aim(pose.heading, camera_ahead, marker[0] - eye_x, marker[1] - eye_y)
        if aim.distance < NEAREST_MARKER:
            return False
        name, slopes, innovation, sigma, least, line, metres = look(aim, seen)
        due = math.hypot(pose_filter.sigma_of(slopes), MARKER_FACTOR * sigma)
        off = Off(line, metres * innovation, metres * due, name != "marker's bearing")
        pose_filter.witness(Witness("marker", name), off)
        if not pose_filter.hear(name, slopes, innovation, (MARKER_FACTOR * sigma) ** 2, least * least):
            pose_filter.doubt(name, slopes)
            passed = False
    return passed


class _Aim(NamedTuple):
    """From a camera so far ahead (m) of a robot that has a heading (rad) to the marker: m, field frame."""

    heading: float
    camera_ahead: float
    x: float
    y: float

    @property
    def distance(self) -> float:
        return math.hypot(self.x, self.y)


class _Look(NamedTuple):
    """What a part of a sighting tells, as `PoseFilter.hear` takes it: with standard deviations.

    By it the position is off along ``line``, by so many ``metres`` for each unit.
    """

    source: str
    slopes: tuple[tuple[int, float], ...]
    innovation: float
    sigma: float
    least: float
    line: XY
    metres: float


def _look_at_distance(aim: _Aim, seen: Detection) -> _Look:
    distance = aim.distance
    ux, uy = aim.x / distance, aim.y / distance
    with_heading = aim.camera_ahead * (ux * math.sin(aim.heading) - uy * math.cos(aim.heading))
    slopes = ((X, -ux), (Y, -uy), (HEADING, with_heading))
    innovation = seen.distance - distance
    return _Look("marker's distance", slopes, innovation, seen.distance_sigma, MARKER_PLACE_SIGMA, (ux, uy), 1.0)


def _look_at_bearing(aim: _Aim, seen: Detection) -> _Look:
    distance = aim.distance
    ux, uy = aim.x / distance, aim.y / distance
    with_heading = -1.0 - aim.camera_ahead * (ux * math.cos(aim.heading) + uy * math.sin(aim.heading)) / distance
    slopes = ((X, uy / distance), (Y, -ux / distance), (HEADING, with_heading))
    innovation = wrap(seen.bearing - wrap(math.atan2(aim.y, aim.x) - aim.heading))
    place = MARKER_PLACE_SIGMA / distance
    return _Look("marker's bearing", slopes, innovation, seen.bearing_sigma, place, (-uy, ux), distance)


@dataclass
class WallLooks:
    """How often a known wall was heard, how often that was refused, and how often nothing was where it should be.

    ``beyond``: how much farther (m) it was, in all that passed; ``astray``: how far (m) all that were refused were off.
    """

    heard: int = 0
    refused: int = 0
    unheard: int = 0
    beyond: float = 0.0
    astray: float = 0.0


@dataclass
class FixCounts:
    """How often the position has been fixed in a run, by known walls and by the tray's marker.

    ``looks``: at each wall, by its number in the errand file. ``moved``: how far (m) along x and y all fixes together
    have moved the position. ``marker_from``: how far (m) the marker was off by which it was fixed last.
    """

    walls: int = 0
    markers: int = 0
    moved: XY = (0.0, 0.0)
    marker_from: float = 0.0
    looks: dict[int, WallLooks] = field(default_factory=dict)

    def range_to(self, view: WallView, distance: float, *, passed: bool) -> None:
        """Count a range (m) to a wall, by which the position was fixed unless the gate refused it."""
        looks = self.looks.setdefault(view.number, WallLooks())
        off = distance - view.distance
        looks.heard += 1
        if passed:
            looks.beyond += off
            self.walls += 1
        else:
            looks.astray += abs(off)
            looks.refused += 1

    def hear_nothing(self, view: WallView) -> None:
        """Count that no echo came from where a wall should be."""
        self.looks.setdefault(view.number, WallLooks()).unheard += 1

    def move(self, before: Pose, after: Pose) -> None:
        """Count by how much a fix has moved the position."""
        self.moved = (self.moved[0] + after.x - before.x, self.moved[1] + after.y - before.y)
