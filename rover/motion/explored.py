"""Ground that is known to be free: where the body has been, and what echoes have shown."""

import math
from bisect import bisect_right
from collections.abc import Callable, Iterable, Sequence
from typing import NamedTuple

from rover.devices.range.keys import RangeKeys
from rover.files.robot import Robot
from rover.geometry import XY, Pose
from rover.motion.echo import ALONG, STRAY_ECHOES
from rover.motion.outline import BodyPart

CELL = 0.06
"""Side (m) of the squares by which ground is known."""
STEP = 0.7 * CELL
"""Points so far apart leave no square out, whichever way it is turned (less than the side by the root of two)."""
FARTHEST = 1.2
"""Before an echo, and in silence, the ground is taken for free as far (m) as this."""
BEFORE = 0.05
"""What echoes reaches so far (m) towards the robot, at most."""
JUMP = 0.05
"""Where a fix has moved the position by more than this (m), what was known is elsewhere, by about as much: ..."""
WAS_KNOWN = 0.5
"""... so much of it is unknown."""
SILENCE = 0
"""A time (ns) before all others: when ground was free where only nothing was heard. A wall that stands aslant mirrors
the sound away; who hears nothing ahead goes by what is `PROVED`."""
PROVED = 1
ALIKE = math.radians(45.0)
"""What is heard along a heading (rad) is heard along others this near to it, if it mirrors sound as a wall does: half a
usual cone, and as much to either side as a wall's surface scatters."""
_HALF = 1 << 20
_EIGHT = tuple(index * math.tau / 8 for index in range(8))


class Lane(NamedTuple):
    """The ground that a robot goes over: from its front on (m ahead of its middle), so wide to either side (m)."""

    front: float
    half_width: float


class Explored:
    """What is known to be free. What comes there later is not noticed; where nothing is known, something may stand.

    A silent range finder is believed as one that hears, unless something was heard there: only a surface that mirrors
    the sound away is missed.

    Args:
        robot: the robot file.
    """

    def __init__(self, robot: Robot) -> None:
        finders = robot.devices.of_family("range")
        self._finders = {name: _Cone(keys) for name, keys in finders.items()}
        self.is_looking = any(math.cos(keys.mount.towards) >= ALONG for keys in finders.values())
        half_length, half_width = 0.5 * robot.body.length, 0.5 * robot.body.width
        self._body = [(x, y) for x in _steps(-half_length, half_length) for y in _steps(-half_width, half_width)]
        round_it = [(half_width * math.cos(turn), half_width * math.sin(turn)) for turn in _EIGHT]
        self._disc = [(0.0, 0.0), *round_it]
        self._known: dict[int, int] = {}  # by square: when (ns) it was last known to be free
        self._was_known: set[int] = set()  # squares that were proved to be, before the position was moved
        self._heard_along: dict[int, float] = {}  # by square: the heading (rad) along which that was heard last
        self._stood = Pose(math.inf, 0.0, 0.0)

    def stand(self, pose: Pose, now_ns: int) -> None:
        """The body is at a pose."""
        x, y, heading = self._stood
        if abs(pose.x - x) + abs(pose.y - y) + CELL * abs(pose.heading - heading) > 0.5 * CELL:
            self._stood = pose
            self._take(pose, self._body, max(PROVED, now_ns), None)

    def hear(self, device: str, distance: float | None, taken_ns: int, pose_at: Callable[[int], Pose]) -> None:
        """A range finder has heard an echo (m), or None, with nothing held before it.

        ``pose_at`` returns the robot's pose at a time (ns).
        """
        cone = self._finders[device]
        way = cone.hear(distance)
        if way is not None:
            face = cone.mount.on(pose_at(taken_ns))
            free_ns = SILENCE if way == math.inf else max(PROVED, taken_ns)
            self._take(face, cone.before(way), free_ns, face.heading)

    def moved(self, before: Pose, after: Pose) -> None:
        """A fix has moved the position."""
        if math.hypot(after.x - before.x, after.y - before.y) > JUMP:
            self._was_known.update(cell for cell, free_ns in self._known.items() if free_ns >= PROVED)
            self._known.clear()
            self._heard_along.clear()
            self._stood = Pose(math.inf, 0.0, 0.0)

    def holds(self, place: XY) -> bool:
        """Tell whether a place is known to be free."""
        return cell_at(*place) in self._known

    @property
    def area(self) -> float:
        """How much ground (m^2) is known to be free."""
        return len(self._known) * CELL * CELL

    def unknown(self, x: float, y: float) -> float:
        """Return which share is not surely free of a disc as wide as the body about a place (m)."""
        return self._unknown([(x + dx, y + dy) for dx, dy in self._disc])

    def unknown_under(self, pose: Pose, part: BodyPart) -> float:
        """Return the same of the ground under a part's front end, for a robot at a pose."""
        aside = (-part.half_width, 0.0, part.half_width)
        return self._unknown([pose.beside(ahead, left) for ahead in (part.front - CELL, part.front) for left in aside])

    def _unknown(self, places: Sequence[XY]) -> float:
        cells = [cell_at(*place) for place in places]
        unknown = [cell for cell in cells if self._known.get(cell, -1) < PROVED]
        return sum([WAS_KNOWN if cell in self._was_known else 1.0 for cell in unknown]) / len(cells)

    def free_at_ns(self, cell: int) -> int | None:
        """Return when (ns) a square was last known to be free, None if never; `SILENCE` if only nothing was heard."""
        return self._known.get(cell)

    def is_cleared(self, cell: int, since_ns: int, along: float) -> bool:
        """Tell whether a square was known to be free after a time (ns): the body was there, or what is beyond was heard
        along about a heading (rad). From elsewhere what stands there may mirror the sound away."""
        if self._known.get(cell, -1) <= since_ns:
            return False
        heard_along = self._heard_along.get(cell)
        return heard_along is None or abs(math.remainder(heard_along - along, math.tau)) < ALIKE

    def way_ahead(self, pose: Pose, lane: Lane, most: float, since_ns: int = SILENCE) -> float:
        """Return how far (m) a lane is known to be free, infinite if at least as far as ``most``.

        What was known to be free before ``since_ns`` does not count; `PROVED` leaves out where only nothing was heard.
        """
        c, s = math.cos(pose.heading), math.sin(pose.heading)
        way = 0.5 * CELL
        while way < most + CELL:
            left = -lane.half_width
            while left <= lane.half_width:
                ahead = lane.front + way
                cell = cell_at(pose.x + ahead * c - left * s, pose.y + ahead * s + left * c)
                if self._known.get(cell, -1) < since_ns:
                    return way - 0.5 * CELL
                left += CELL
            way += CELL
        return math.inf

    def is_round(self, pose: Pose, radius: float) -> bool:
        """Tell whether the ground is known to be free that a circle round a pose runs over."""
        count = math.ceil(math.tau * radius / CELL)
        turns = (index * math.tau / count for index in range(count))
        return all(self.holds((pose.x + radius * math.cos(turn), pose.y + radius * math.sin(turn))) for turn in turns)

    def _take(self, origin: Pose, points: Iterable[XY], taken_ns: int, along: float | None) -> None:
        """Take some points in an origin's frame (m) to be free, heard along a heading (rad), or under the body."""
        c, s = math.cos(origin.heading), math.sin(origin.heading)
        for ahead, left in points:
            cell = cell_at(origin.x + ahead * c - left * s, origin.y + ahead * s + left * c)
            if self._known.get(cell, -1) < taken_ns:
                self._known[cell] = taken_ns
                if along is not None:
                    self._heard_along[cell] = along
                else:
                    self._heard_along.pop(cell, None)


class _Cone:
    """The ground in a range finder's cone, as points in its own frame (m), the nearest first."""

    def __init__(self, keys: RangeKeys) -> None:
        self.mount = keys.mount
        tangent = math.tan(min(0.5 * keys.beam, 1.2))
        self._points = [
            (ahead, left)
            for ahead in _steps(0.0, FARTHEST)
            for left in _across(ahead * tangent - 0.5 * CELL)
            if math.hypot(ahead, left) <= FARTHEST
        ]
        self._points.sort(key=lambda point: math.hypot(*point))
        self._ways = [math.hypot(*point) for point in self._points]
        self._least = math.inf
        self._heard = 0

    def hear(self, distance: float | None) -> float | None:
        """Return how far (m) the nearest of some echoes was, None until there are so many; infinite: all was silent."""
        self._least = min(self._least, math.inf if distance is None else distance)
        self._heard += 1
        if self._heard < STRAY_ECHOES:
            return None
        least, self._least, self._heard = self._least, math.inf, 0
        return least

    def before(self, way: float) -> list[XY]:
        """Return the points that are free before what echoes so far (m) off."""
        return self._points[: bisect_right(self._ways, way - BEFORE)]


def middle_of(cell: int) -> XY:
    """Return the middle (m) of a square."""
    column, row = divmod(cell, 2 * _HALF)
    return (column - _HALF + 0.5) * CELL, (row - _HALF + 0.5) * CELL


def _across(half: float) -> list[float]:
    """Return places across a cone so much wider than a square to either side; where it is narrower, its axis."""
    return [0.0] if half <= 0.0 else _steps(-half, half)


def _steps(low: float, high: float) -> list[float]:
    """Return places from ``low`` to ``high``, both among them, no farther apart than a step."""
    count = max(1, math.ceil((high - low) / STEP))
    return [low + (high - low) * index / count for index in range(count + 1)]


def cell_at(x: float, y: float) -> int:
    """Return the number of the square of the ground that a place (m) is in."""
    return (math.floor(x / CELL) + _HALF) * (2 * _HALF) + math.floor(y / CELL) + _HALF
