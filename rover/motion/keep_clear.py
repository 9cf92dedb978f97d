"""Keeps the whole outline of the robot clear of boundary and known walls, over the way that it needs to stop."""

import math
from collections.abc import Callable
from typing import NamedTuple

from rover.estimate.doubt import SURE, Doubt
from rover.estimate.field import Ground
from rover.files.robot import LimitSettings, Robot
from rover.geometry import Pose
from rover.motion.hold_backs import motions_of
from rover.motion.outline import Barrier, BodyOutline, RoomDue, Surroundings, outline_of
from rover.motion.profile import ramped
from rover.motion.wheels import LAG
from rover.quantities import clamp

GRAIN = 0.005
"""Room (m) that is always left: places along a way are looked at so many."""
DOUBT = 2.0
"""So many standard deviations of the position, across what is near, are left as room besides the robot file's margin
when driving."""
CREEP, DOUBT_AT_A_CREEP = 0.08, 1.0
"""No faster than this (m/s), a robot that touches a wall does no harm, and goes where there is less room."""
UNKNOWN = 0.5
"""A position less sure than this (m, standard deviation) is none: nothing is driven by it."""
LEAST_WAY = 0.02
"""Room (m) for less than this is not worth beginning to move."""
LEAST_ANGLE, TURNS = 0.1, 0.1
"""The same for a turn (rad), if it is one: slower than ``TURNS`` (rad/s) a heading is only kept."""
SWAY = 0.005
"""Where there is less room than the margin already, a way that takes no more than this (m) runs along, not towards."""
LOOK_EVERY = 0.04
"""Along the way to stop, the outline is looked at this often (m)."""
SHARES = (1.0, 0.5, 0.25)
"""Where there is no room for what is wanted, so much less of it is tried."""


def room_due(limits: LimitSettings, position: Doubt, speed: float = math.inf) -> RoomDue:
    """Return the room due before boundary and walls at a position with this covariance, at a speed (m/s)."""
    times = DOUBT if abs(speed) > CREEP else DOUBT_AT_A_CREEP
    return RoomDue(limits.boundary_margin + GRAIN, position.at_most(UNKNOWN).times(times))


class Whereabouts(NamedTuple):
    """Where the robot is, the covariance of that, and whether something is between the jaws."""

    pose: Pose
    doubt: Doubt = SURE
    loaded: bool = False


class Velocity(NamedTuple):
    """How fast the robot goes (m/s, rad/s)."""

    speed: float
    turn_rate: float


class KeepClear:
    """Takes away what would bring the outline to the boundary or a known wall, or deeper where it stands in one.

    Args:
        robot: the robot file.
        ground: the field.
        widest: width (m) of the widest thing that the jaws may hold.
    """

    def __init__(self, robot: Robot, ground: Ground, widest: float) -> None:
        self._limits = robot.limits
        self._outlines = tuple(outline_of(robot, widest, loaded=loaded) for loaded in (False, True))
        self._surroundings = Surroundings(ground)
        self._delay = LAG + 1.0 / robot.loop
        limits, fastest = robot.limits, Velocity(robot.limits.speed, robot.limits.turn_rate)
        radius = max(outline.radius for outline in self._outlines)
        farthest = self._way(fastest.speed, fastest, 0.0) + radius * self._angle(fastest.turn_rate, fastest, 0.0)
        self._most_needed = farthest + limits.boundary_margin + GRAIN + DOUBT * UNKNOWN
        # As long as no part of the outline can have gone so far from where it was looked at, all is clear.
        self._room = -math.inf
        self._looked_at = Pose(0.0, 0.0, 0.0)

    def allow(
        self, wanted: Velocity, now: Velocity, where: Whereabouts, seconds: float
    ) -> tuple[Velocity, list[tuple[str, int]]]:
        """Return what is left of what is wanted, and the hold-backs, as (cause, motions).

        Where it has less room than is due already it runs along no faster than it may touch something.

        Args:
            wanted: what is wanted now.
            now: what was allowed in the step before.
            where: where the robot is.
            seconds: of this step.
        """
        outline = self._outlines[where.loaded]
        left = self._room_left(where.pose, outline.radius)
        if left > self._most_needed:
            return wanted, []
        due = room_due(self._limits, where.doubt, wanted.speed)
        way, angle = self._way(wanted.speed, now, seconds), self._angle(wanted.turn_rate, now, seconds)
        needed = abs(way) + outline.radius * abs(angle) + due.worst
        if left > needed:
            return wanted, []
        near = self._look(where.pose, outline, needed)
        if self._room > needed:
            return wanted, []
        sweep = _Sweep(self._surroundings, outline, where.pose, near)
        if not wanted.speed:  # else it only steers, and the way that it goes needs the room
            sweep.keep(room_due(self._limits, where.doubt, CREEP))
        turn_rate, cause = _most(wanted.turn_rate, lambda rate: sweep.meets(0.0, self._angle(rate, now, seconds)))
        found = [(cause, motions_of(0.0, wanted.turn_rate))] if cause else []
        angle = self._angle(turn_rate, now, seconds)
        sweep.keep(due)
        most = self._limits.contact_speed if sweep.lacks_room else math.inf
        slowed = clamp(wanted.speed, -most, most)
        speed, cause = _most(slowed, lambda speed: sweep.meets(self._way(speed, now, seconds), angle))
        if cause:
            found.append((cause, motions_of(wanted.speed, 0.0)))
        return Velocity(speed, turn_rate), found

    def _room_left(self, pose: Pose, radius: float) -> float:
        x, y, heading = self._looked_at
        turned = abs(pose.heading - heading)
        return self._room - abs(pose.x - x) - abs(pose.y - y) - radius * min(turned, math.tau - turned)

    def _look(self, pose: Pose, outline: BodyOutline, needed: float) -> list[Barrier]:
        """Look how much room there is, and return the barriers that come into question."""
        near, others = self._surroundings.near((pose.x, pose.y), outline.radius + needed)
        room, _ = self._surroundings.room(outline, pose, near)
        self._looked_at, self._room = pose, min(room, others - outline.radius)
        return near

    def _way(self, wanted: float, now: Velocity, seconds: float) -> float:
        """Return the way (m) from the beginning of this step until rest, if a speed is allowed in it."""
        up, down = self._limits.acceleration, self._limits.deceleration
        speed = ramped(now.speed, wanted, up * seconds, down * seconds)
        way = abs(speed) * self._delay + speed * speed / (2.0 * down)
        return math.copysign(max(way, LEAST_WAY) if speed * wanted > 0.0 else way, speed)

    def _angle(self, wanted: float, now: Velocity, seconds: float) -> float:
        """Return the same of a turn rate, in rad."""
        most = self._limits.turn_acceleration
        rate = ramped(now.turn_rate, wanted, most * seconds, most * seconds)
        angle = abs(rate) * self._delay + rate * rate / (2.0 * most)
        return math.copysign(max(angle, LEAST_ANGLE) if rate * wanted > 0.0 and abs(wanted) > TURNS else angle, rate)


def _most(wanted: float, meets: Callable[[float], str]) -> tuple[float, str]:
    """Return the largest of some shares of what is wanted that meets nothing, or zero and what the least one meets."""
    cause = ""
    for share in SHARES if wanted else ():
        cause = meets(share * wanted)
        if not cause:
            return share * wanted, ""
    return 0.0, cause


class _Sweep:
    """The outline, moved along ways from where the robot is.

    What it is too near to already it may not come nearer to; that it is so to one barrier allows nothing before
    another.

    Attributes:
        lacks_room: there is less room already than is to be kept.
    """

    def __init__(self, surroundings: Surroundings, outline: BodyOutline, pose: Pose, near: list[Barrier]) -> None:
        self._surroundings, self._outline, self._pose, self._near = surroundings, outline, pose, near
        self._beyond = 0.0 if surroundings.holds(pose) else surroundings.beyond(outline, pose) - SWAY
        rooms = self._rooms(pose, SURE)
        self._touched = [room < GRAIN for room in rooms]
        self._barely = SURE, self._floors(rooms, GRAIN)
        self._kept = [self._barely]
        self.lacks_room = False

    def keep(self, due: RoomDue) -> None:
        """Keep from now on as much room as is due, or almost as much as there is; at first no more than none at all."""
        rooms = [room - SWAY for room in self._rooms(self._pose, due.doubt)]
        self.lacks_room = min(rooms, default=math.inf) < due.margin - 2.0 * SWAY
        self._kept = [self._barely, (due.doubt, self._floors(rooms, due.margin))]

    def _floors(self, rooms: list[float], margin: float) -> list[float]:
        """Return the room (m) to be kept before each barrier. Of several that are touched, the worst one counts: what
        leads out of that may lead along another."""
        worst = min([room for room, is_touched in zip(rooms, self._touched, strict=True) if is_touched], default=0.0)
        return [
            min(margin, worst if is_touched else room) for room, is_touched in zip(rooms, self._touched, strict=True)
        ]

    def _rooms(self, pose: Pose, doubt: Doubt) -> list[float]:
        return self._surroundings.rooms(self._outline, pose, self._near, doubt)

    def meets(self, way: float, angle: float) -> str:
        """Return what a way (m) that turns by an angle (rad) comes nearer to than is kept, or ''."""
        count = 1 + int((abs(way) + self._outline.radius * abs(angle)) / LOOK_EVERY)
        x, y, heading = self._pose
        way, angle = way / count, angle / count
        for _ in range(count):
            x += way * math.cos(heading + 0.5 * angle)
            y += way * math.sin(heading + 0.5 * angle)
            heading += angle
            if cause := self._is_met(Pose(x, y, heading)):
                return cause
        return ""

    def _is_met(self, pose: Pose) -> str:
        if not self._surroundings.holds(pose):
            return "boundary" if self._surroundings.beyond(self._outline, pose) < self._beyond - 1e-9 else ""
        if self._beyond < 0.0:
            return ""  # from outside, what leads in is free
        for doubt, floors in self._kept:
            for room, floor, barrier in zip(self._rooms(pose, doubt), floors, self._near, strict=True):
                if room < floor - 1e-9:
                    return barrier.cause
        return ""
