"""The floor: walls and posts, what stands in the way of a body or of sight, and the magnetic bias of the place."""

import math
from random import Random
from typing import NamedTuple

from rover.bench.draws import aside, drawn, stream
from rover.files.bench import BenchFile
from rover.files.bench_effects import Floor, OffTheMap
from rover.files.errand import Errand
from rover.quantities import clamp, wrap

Segment = tuple[tuple[float, float], tuple[float, float]]


class Wall(NamedTuple):
    """A straight wall: its first end, the unit vector along it, its length (m, field frame)."""

    x: float
    y: float
    along_x: float
    along_y: float
    length: float


class Round(NamedTuple):
    """A post, or an object as the sonar and the camera meet it: its middle and radius (m)."""

    x: float
    y: float
    radius: float


def wall(segment: Segment) -> Wall:
    """Return the wall between two points."""
    (x, y), (end_x, end_y) = segment
    length = math.hypot(end_x - x, end_y - y)
    if length == 0.0:
        return Wall(x, y, 1.0, 0.0, 0.0)
    return Wall(x, y, (end_x - x) / length, (end_y - y) / length, length)


def distance_to(wall: Wall, x: float, y: float) -> float:
    """Return the distance (m) of a point from the nearest point of a wall."""
    along = (x - wall.x) * wall.along_x + (y - wall.y) * wall.along_y
    along = clamp(along, 0.0, wall.length)
    return math.hypot(wall.x + along * wall.along_x - x, wall.y + along * wall.along_y - y)


def stands_between(wall: Wall, place: tuple[float, float], other: tuple[float, float]) -> bool:
    """Tell whether a wall stands between two places (m)."""
    from_x, from_y, to_x, to_y = *place, *other
    across_x, across_y = -wall.along_y, wall.along_x
    before = (from_x - wall.x) * across_x + (from_y - wall.y) * across_y
    behind = (to_x - wall.x) * across_x + (to_y - wall.y) * across_y
    if before * behind >= 0.0:
        return False
    share = before / (before - behind)
    x, y = from_x + share * (to_x - from_x) - wall.x, from_y + share * (to_y - from_y) - wall.y
    return 0.0 <= x * wall.along_x + y * wall.along_y <= wall.length


class Rectangle(NamedTuple):
    """A part of the robot's outline in its own frame (m): ``back`` to ``front``, ``half_width`` to either side."""

    back: float
    front: float
    half_width: float


class Standing(NamedTuple):
    """What stands on the floor, as `Solids` has it."""

    walls: tuple[Wall, ...]
    posts: tuple[Round, ...]
    marker: tuple[float, float] | None


class Solids:
    """All that does not give way: the errand's walls, and the walls and posts that its map does not have.

    Attributes:
        walls: those of the map first, in its order.
        marker: the place of the tray's marker (m), a plate above all that runs into things; None: there is none.
    """

    def __init__(self, file: BenchFile, errand: Errand) -> None:
        self._of_the_map = len(errand.field.walls)
        zone = errand.field.zone
        self.marker = None if zone is None else zone.marker
        self.walls = [wall(segment) for segment in [*errand.field.walls.values(), *file.walls]]
        self.posts = [Round(post.x, post.y, post.radius) for post in file.obstacles]

    def stray(self, off: OffTheMap, draws: Random) -> None:
        """Put the map's walls and marker where they truly stand."""
        for at, each in enumerate(self.walls[: self._of_the_map]):
            way = drawn(off.walls, draws)
            self.walls[at] = each._replace(x=each.x - way * each.along_y, y=each.y + way * each.along_x)
        dx, dy = aside(off.marker, draws)
        if self.marker is not None:
            self.marker = self.marker[0] + dx, self.marker[1] + dy

    @property
    def standing(self) -> Standing:
        """All of it as it stands now."""
        return Standing(tuple(self.walls), tuple(self.posts), self.marker)

    def clearance(self, x: float, y: float) -> float:
        """Return the distance (m) of a point from the nearest of them; infinite when there is none."""
        from_walls = (distance_to(each, x, y) for each in self.walls)
        from_posts = (math.hypot(post.x - x, post.y - y) - post.radius for post in self.posts)
        return min([*from_walls, *from_posts], default=math.inf)

    def kept_off(self, radius: float, start: tuple[float, float], place: tuple[float, float]) -> tuple[float, float]:
        """Return where something round comes to stand that is pushed from ``start`` to ``place``: before what is solid.

        All in m, field frame. A place that is free is returned as it is.
        """
        x, y = place
        for each in self.walls:
            if stands_between(each, start, (x, y)) or distance_to(each, x, y) < radius:
                x, y = _before(each, radius, start, (x, y))
        for post in self.posts:
            dx, dy = x - post.x, y - post.y
            apart, least = math.hypot(dx, dy), radius + post.radius
            if 0.0 < apart < least:
                x, y = post.x + dx / apart * least, post.y + dy / apart * least
        return x, y

    def touch(self, outline: tuple[Rectangle, ...], x: float, y: float, heading: float) -> bool:
        """Whether a robot at this pose would stand in one of them."""
        ahead, left = math.cos(heading), math.sin(heading)
        return any(_crosses(_moved(each, x, y, ahead, left), part) for each in self.walls for part in outline) or any(
            _overlaps(_seen_from(post, x, y, ahead, left), part) for post in self.posts for part in outline
        )

    def hide(self, from_x: float, from_y: float, to_x: float, to_y: float) -> bool:
        """Whether one of them stands between two points."""
        ends = (from_x, from_y), (to_x, to_y)
        if any(stands_between(each, *ends) for each in self.walls):
            return True
        if not self.posts:
            return False
        sight = wall(ends)
        return any(distance_to(sight, post.x, post.y) < post.radius for post in self.posts)


def _before(wall: Wall, radius: float, start: tuple[float, float], place: tuple[float, float]) -> tuple[float, float]:
    """Return the place nearest to ``place`` at which something round touches a wall on the side of ``start``."""
    across_x, across_y = -wall.along_y, wall.along_x
    along = (place[0] - wall.x) * wall.along_x + (place[1] - wall.y) * wall.along_y
    if 0.0 <= along <= wall.length:
        side = math.copysign(radius, (start[0] - wall.x) * across_x + (start[1] - wall.y) * across_y)
        return wall.x + along * wall.along_x + side * across_x, wall.y + along * wall.along_y + side * across_y
    end = clamp(along, 0.0, wall.length)
    end_x, end_y = wall.x + end * wall.along_x, wall.y + end * wall.along_y
    dx, dy = place[0] - end_x, place[1] - end_y
    apart = math.hypot(dx, dy) or radius
    return end_x + dx / apart * radius, end_y + dy / apart * radius


def _moved(wall: Wall, x: float, y: float, ahead: float, left: float) -> Wall:
    """Return the wall in the frame of a robot at (x, y) whose heading has this cosine and sine."""
    dx, dy = wall.x - x, wall.y - y
    return Wall(
        dx * ahead + dy * left,
        dy * ahead - dx * left,
        wall.along_x * ahead + wall.along_y * left,
        wall.along_y * ahead - wall.along_x * left,
        wall.length,
    )


def _seen_from(post: Round, x: float, y: float, ahead: float, left: float) -> Round:
    dx, dy = post.x - x, post.y - y
    return Round(dx * ahead + dy * left, dy * ahead - dx * left, post.radius)


def _crosses(wall: Wall, part: Rectangle) -> bool:
    """Clip the wall to the rectangle (Liang and Barsky, A new concept and method for line clipping, 1984)."""
    begins, ends = 0.0, wall.length
    for start, direction, low, high in (
        (wall.x, wall.along_x, part.back, part.front),
        (wall.y, wall.along_y, -part.half_width, part.half_width),
    ):
        if abs(direction) < 1e-12:
            if not low <= start <= high:
                return False
            continue
        enter, leave = sorted(((low - start) / direction, (high - start) / direction))
        begins, ends = max(begins, enter), min(ends, leave)
    return begins <= ends


def _overlaps(post: Round, part: Rectangle) -> bool:
    dx = post.x - clamp(post.x, part.back, part.front)
    dy = post.y - clamp(post.y, -part.half_width, part.half_width)
    return dx * dx + dy * dy < post.radius * post.radius


class TurnCentre:
    """The point about which the base turns, from the wheels' middle: load and tyres choose it anew all the time.

    It wanders as a process of Ornstein and Uhlenbeck (1930), with the angle turned in place of time.
    """

    FORGETS = 1.0
    """After so large a turn (rad) it keeps 1/e of where it was."""
    PORTION = 0.1
    """It moves after each so large a turn (rad)."""

    def __init__(self, floor: Floor, seed: int) -> None:
        draws = stream(seed, "turn centre")
        self._usual = self._now = drawn(floor.turn_ahead, draws), drawn(floor.turn_left, draws)
        self._draws = stream(seed, "turn wander")
        self._keeps = math.exp(-self.PORTION / self.FORGETS)
        self._moves = drawn(floor.turn_wander, self._draws) * math.sqrt(1.0 - self._keeps * self._keeps)
        self._turned = 0.0

    def turn(self, angle: float) -> tuple[float, float]:
        """Have the base turn (rad); return where the point is now (m): ahead of the wheels' middle, and to its left."""
        self._turned += abs(angle)
        if self._turned > self.PORTION:
            self._turned -= self.PORTION
            (ahead, left), (usual_ahead, usual_left) = self._now, self._usual
            self._now = self._moved(ahead, usual_ahead), self._moved(left, usual_left)
        return self._now

    def _moved(self, place: float, usual: float) -> float:
        return usual + self._keeps * (place - usual) + self._draws.gauss(0.0, self._moves)


def start_pose(
    solids: Solids, outline: tuple[Rectangle, ...], off: OffTheMap, errand: Errand, seed: int
) -> tuple[float, float, float]:
    """Return where the robot is set down (m, m, rad): near the map's start, and on it where there is no room beside."""
    draws, start = stream(seed, "start"), errand.field.start
    heading = wrap(start.heading or 0.0)
    dx, dy = aside(off.start, draws)
    pose = start.x + dx, start.y + dy, wrap(heading + drawn(off.turned, draws))
    return (start.x, start.y, heading) if solids.touch(outline, *pose) else pose


class BiasField:
    """Error of a magnetic heading by place: three plane waves whose amplitudes sum to the stated bias.

    A wave goes from zero to its full height in a quarter of its length, which is 0.7 to 1.5 times the scale.
    """

    WAVES = 3

    def __init__(self, floor: Floor, seed: int | str) -> None:
        draws = stream(seed, "bias field")
        scale = drawn(floor.bias_scale, stream(seed, "bias scale"))
        self._waves: list[tuple[float, float, float, float]] = []
        for _ in range(self.WAVES):
            number = math.pi / 2.0 / (scale * draws.uniform(0.7, 1.5))
            direction, phase = draws.uniform(-math.pi, math.pi), draws.uniform(-math.pi, math.pi)
            wave = (floor.heading_bias / self.WAVES, number * math.cos(direction), number * math.sin(direction), phase)
            self._waves.append(wave)

    def at(self, x: float, y: float) -> float:
        """Return the bias (rad) at a place (m, field frame)."""
        bias = 0.0
        for height, kx, ky, phase in self._waves:
            bias += height * math.sin(kx * x + ky * y + phase)
        return bias
