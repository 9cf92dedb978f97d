"""What the range finders' echoes say of the way ahead and behind, between them and after they cease."""

import math
from collections import deque
from typing import ClassVar, NamedTuple

from rover.devices.range.keys import RangeKeys
from rover.devices.readings import RangeValue
from rover.files.robot import Body, Robot
from rover.motion.outline import BEFORE_TIPS

STRAY_ECHOES = 3
"""A distance is the median of so many readings, so that one stray echo does not stop the robot."""
TURNED_AWAY = 1.0
"""Turned by so much (rad) since the last echo, the range finder looks at something else."""
CLOSE = 0.4
"""After an echo nearer than this (m), silence means still close."""


VANISHED = 0.1
"""What is no longer heard where it was, by more than this (m), may have left the beam beside it ..."""
BY_MOVING = 0.005
"""... if the robot has gone on by more than this (m) since it was heard there: else it is gone. ..."""
WAITED = 30
"""After so many echoes from farther off, heard while the robot stands before it, it has perhaps gone since ..."""
TURNED_OFF = 0.35
"""... It is met no more once the robot has turned by so much (rad)."""


ALONG = 0.5
"""A range finder looks along the way if the cosine of its direction is at least this (60 degrees); else to a side."""


class EchoMemory:
    """What is known of the way that a range finder looks along.

    That is the median of the last readings, less the way travelled since each of them.

    After a close echo, silence means still close, until a real echo comes or the robot turns away.

    Args:
        front: how far (m) the robot reaches beyond the sensor's face.
    """

    def __init__(self, front: float) -> None:
        self._front = front
        # Readings are kept as places along the way travelled, so that the older ones need no correction.
        self._recent: deque[float] = deque(maxlen=STRAY_ECHOES)
        self._place = math.inf
        self._way = self._turned = 0.0

    @property
    def gap(self) -> float:
        """Free way (m) before the robot, infinite where nothing is known to stand there."""
        return self._place - self._way

    def hear(self, value: RangeValue) -> None:
        """Take a reading in."""
        if value.distance is not None:
            self._take(self._way + value.distance - self._front)
        elif self.gap > CLOSE:
            self._take(math.inf)

    def _take(self, place: float) -> None:
        self._recent.append(place)
        self._place = sorted(self._recent)[len(self._recent) // 2]
        self._turned = 0.0

    def moved(self, metres: float, turned: float) -> None:
        """Account for the robot's own motion since the last call (m towards where it looks, rad)."""
        self._way += metres
        self._turned += turned
        if abs(self._turned) > TURNED_AWAY:
            self._recent.clear()
            self._place, self._turned = math.inf, 0.0


class Room(NamedTuple):
    """Free way (m) ahead of the robot and behind it, and from its middle to what stands beside it.

    Infinite where nothing is known to stand. What has left the beam before the robot was past it still stands there:
    near the robot a beam is narrower than the body. ``perhaps_ahead`` is the way to what may have gone meanwhile.
    """

    ahead: float = math.inf
    behind: float = math.inf
    beside: float = math.inf
    perhaps_ahead: float = math.inf


class Echoes:
    """What all range finders of a robot say, each in its direction.

    One that looks along the way, forwards or backwards, tells of what stands in the robot's lane; one that looks to a
    side, of what its corners would meet in a turn.
    """

    def __init__(self, robot: Robot) -> None:
        self._finders = {name: _finder(keys, robot.body) for name, keys in robot.devices.of_family("range").items()}

    @property
    def room(self) -> Room:
        """What is free now."""
        room = [math.inf, math.inf, math.inf]
        perhaps = math.inf
        for finder in self._finders.values():
            room[finder.ROOM] = min(room[finder.ROOM], finder.room)
            perhaps = min(perhaps, finder.perhaps)
        ahead, behind, beside = room
        return Room(ahead, behind, beside, perhaps)

    def hear(self, name: str, value: RangeValue) -> None:
        """Take in a reading of a range finder."""
        if name in self._finders:
            self._finders[name].hear(value)

    def moved(self, metres: float, turned: float) -> None:
        """Account for the robot's own motion since the last call (m, rad)."""
        for finder in self._finders.values():
            finder.moved(metres, turned)


def _finder(keys: RangeKeys, body: Body) -> "_Ahead | _Behind | _Beside":
    along = math.cos(keys.mount.towards)
    if along >= ALONG:
        return _Ahead(keys, body)
    return _Behind(keys, body) if along <= -ALONG else _Beside(keys, body)


class _Ahead:
    """A range finder that looks forwards."""

    ROOM: ClassVar = Room._fields.index("ahead")
    SENSE: ClassVar = 1.0

    def __init__(self, keys: RangeKeys, body: Body) -> None:
        mount = keys.mount
        self._front = max(0.0, self._reach(body) - self.SENSE * mount.ahead)
        self._memory = EchoMemory(self._front)
        self._along, self._aside = abs(math.cos(mount.towards)), math.sin(mount.towards)
        self._left, self._lane = mount.left, 0.5 * body.width
        self._widening = math.sin(0.5 * keys.beam)
        self._left_beam, self._turned, self._gone_on = math.inf, 0.0, 0.0
        self._way, self._waited = 0.0, 0

    def _reach(self, body: Body) -> float:
        return max(0.5 * body.length, body.gripper_reach)

    @property
    def room(self) -> float:
        return self._memory.gap if self._waited > WAITED else min(self._memory.gap, self._left_beam)

    @property
    def perhaps(self) -> float:
        """Way (m) to what has left the beam, if it has perhaps gone since."""
        return self._left_beam if self._waited > WAITED else math.inf

    def hear(self, value: RangeValue) -> None:
        distance = value.distance
        if distance is not None:
            off = abs(self._left + distance * self._aside) - distance * self._widening
            distance = distance * self._along if off <= self._lane else math.inf
        before = self._memory.gap
        if distance is not None and distance - self._front < before + VANISHED:
            self._gone_on = 0.0
        self._memory.hear(RangeValue(distance))
        if self._memory.gap <= self._left_beam + VANISHED:
            self._left_beam = math.inf  # it is heard again
        self._waited += 1
        if self._gone_on > BY_MOVING:
            self._note_what_left(before)

    def _note_what_left(self, before: float) -> None:
        """Keep in mind what was heard at a gap (m) and is not any more, if the lane is wider than the beam there.

        With no gap it stands between the jaws.
        """
        gap = self._memory.gap
        if 0.0 < before < gap - VANISHED and (before + self._front) * self._widening < self._lane:
            self._left_beam, self._turned, self._waited = min(before, self._left_beam), 0.0, 0

    def moved(self, metres: float, turned: float) -> None:
        self._memory.moved(self.SENSE * metres, turned)
        self._gone_on += self.SENSE * metres
        self._way += abs(metres)
        if self._way > BY_MOVING and self._waited <= WAITED:
            self._way, self._waited = 0.0, 0
        if self._left_beam < math.inf:
            self._left_beam -= self.SENSE * metres
            self._turned += turned
            if self._left_beam < 0.0 or abs(self._turned) > TURNED_OFF:
                self._left_beam = math.inf  # it would have been touched, or is no more ahead


class _Behind(_Ahead):
    """A range finder that looks backwards."""

    ROOM: ClassVar = Room._fields.index("behind")
    SENSE: ClassVar = -1.0
    perhaps = math.inf

    def _reach(self, body: Body) -> float:
        return 0.5 * body.length


class _Beside:
    """A range finder that looks to a side. It is past what it no longer hears, and what it heard a robot's length ago:
    one that has fallen silent must not hold every turn back for good.
    """

    ROOM: ClassVar = Room._fields.index("beside")
    perhaps = math.inf

    def __init__(self, keys: RangeKeys, body: Body) -> None:
        self._length, self._way = body.length, 0.0
        self._left, self._aside = keys.mount.left, math.sin(keys.mount.towards)
        self._recent: deque[float] = deque(maxlen=STRAY_ECHOES)

    @property
    def room(self) -> float:
        return sorted(self._recent)[len(self._recent) // 2] if self._recent else math.inf

    def hear(self, value: RangeValue) -> None:
        self._way = 0.0
        self._recent.append(math.inf if value.distance is None else abs(self._left + value.distance * self._aside))

    def moved(self, metres: float, turned: float) -> None:
        """Account for the robot's own motion since the last call (m, rad)."""
        self._way += abs(metres)
        if self._way > self._length:
            self._recent.clear()


def looks_along(robot: Robot) -> tuple[bool, bool]:
    """Tell whether a range finder looks ahead, and whether one looks back."""
    along = [math.cos(keys.mount.towards) for keys in robot.devices.of_family("range").values()]
    return any(one >= ALONG for one in along), any(one <= -ALONG for one in along)


def swept_radius(robot: Robot) -> float:
    """Return the radius (m) of the circle that body and jaws sweep in a turn on the spot."""
    return max(math.hypot(0.5 * robot.body.length, 0.5 * robot.body.width), foremost(robot))


def foremost(robot: Robot) -> float:
    """Return how far (m) body and jaws reach ahead of the robot's middle."""
    body, gripper = robot.body, robot.devices.gripper
    half = 0.5 * body.length
    return half if gripper is None else max(half, body.gripper_reach + gripper.tips + BEFORE_TIPS)
