"""Hold-backs, caps and ramps: every request passes here, and nothing else moves.

A *hold-back* takes away only the motion that makes it worse and ends by itself; a stop latches (`rover.core.stopping`).
This is software on a hobby-size machine, not a certified safety function.
"""

import math
from collections import deque
from typing import NamedTuple

from rover.estimate.field import Ground
from rover.files.robot import Robot
from rover.geometry import Pose, inside
from rover.motion.request import STILL, Request
from rover.quantities import clamp

CONTACT_SPEED = 0.15
"""Fastest speed (m/s) while something close ahead is meant to be touched."""
BLOCKED_SHARE = 0.75
"""Share of the speed limit that is left while the range finder looks at something carried."""
BOUNDARY_EVERY = 4
"""The boundary is looked at every so many steps."""


class Allowed(NamedTuple):
    """What is left of a request: m/s, rad/s, jaws."""

    speed: float
    turn_rate: float
    jaws: float | None


class Situation(NamedTuple):
    """What the limits have to know of a step."""

    now_ns: int
    seconds: float
    pose: Pose | None
    gap: float
    standstill: str
    """Why the wheels must stand still for want of a device, or empty."""


class Limits:
    """Applies the robot file's limits. ``causes`` tells which hold-backs are in force."""

    def __init__(self, robot: Robot, ground: Ground | None) -> None:
        self._limits = robot.limits
        self._ground = ground
        self._half_length = 0.5 * robot.body.length
        self._between_looks = BOUNDARY_EVERY / robot.loop
        self._speed = self._turn_rate = 0.0
        self._until: dict[str, int] = {}
        self._began: deque[int] = deque()
        self._boundary_step = 0
        self._leaving = (False, False)
        self.causes: tuple[str, ...] = ()

    def stop(self) -> Allowed:
        """Return zero at once, without a ramp: the drive is de-energised (stop category 0 of IEC 60204-1)."""
        self._speed = self._turn_rate = 0.0
        return Allowed(0.0, 0.0, None)

    def apply(self, request: Request, situation: Situation) -> Allowed:
        """Return what is allowed of a request now."""
        wanted = STILL if situation.standstill else request
        speed, turn_rate = self._capped(wanted)
        causes = [situation.standstill] if situation.standstill else []
        if speed > 0.0 and not request.expects_contact and not request.range_blocked:
            speed = self._before_obstacle(speed, situation.gap, causes)
        if speed and self._ground is not None and situation.pose is not None:
            speed = self._inside_boundary(speed, situation.pose, self._ground, causes)
        speed = self._kept_up(speed, request, causes, situation.now_ns)
        self._ramp(speed, turn_rate, situation.seconds)
        return Allowed(self._speed, self._turn_rate, request.jaws)

    @property
    def held_back_too_often(self) -> bool:
        """Hold-backs began more often than the robot file allows: that latches a stop."""
        return len(self._began) >= self._limits.hold_backs

    def forget_hold_backs(self) -> None:
        """Begin to count hold-backs afresh, after a reset."""
        self._began.clear()

    def _capped(self, request: Request) -> tuple[float, float]:
        limits = self._limits
        if not (-math.inf < request.speed < math.inf and -math.inf < request.turn_rate < math.inf):
            return 0.0, 0.0
        most = limits.speed
        if request.expects_contact:
            most = min(most, CONTACT_SPEED)
        elif request.range_blocked:
            most *= BLOCKED_SHARE
        speed = clamp(request.speed, -most, most)
        turn_rate = clamp(request.turn_rate, -limits.turn_rate, limits.turn_rate)
        return speed, turn_rate

    def _before_obstacle(self, speed: float, gap: float, causes: list[str]) -> float:
        """Return the speed at which the robot still stops ``stop_gap`` before what is ahead: v = sqrt(2 a d)."""
        room = gap - self._limits.stop_gap
        if room <= 0.0:
            causes.append("obstacle")
            return 0.0
        return min(speed, math.sqrt(2.0 * self._limits.deceleration * room) + 0.02)

    def _inside_boundary(self, speed: float, pose: Pose, ground: Ground, causes: list[str]) -> float:
        self._boundary_step -= 1
        if self._boundary_step < 0:
            self._boundary_step = BOUNDARY_EVERY - 1
            self._leaving = (self._leaves(pose, ground, 1.0, speed), self._leaves(pose, ground, -1.0, speed))
        if self._leaving[0 if speed > 0.0 else 1]:
            causes.append("boundary")
            return 0.0
        return speed

    def _leaves(self, pose: Pose, ground: Ground, direction: float, speed: float) -> bool:
        """Tell whether the body's end on one side would leave the field before the robot could stop."""
        if (speed > 0.0) != (direction > 0.0):
            return False
        way_to_stop = abs(speed) * self._between_looks + speed * speed / (2.0 * self._limits.deceleration)
        reach = self._half_length + self._limits.boundary_margin + way_to_stop
        x = pose.x + direction * reach * math.cos(pose.heading)
        y = pose.y + direction * reach * math.sin(pose.heading)
        return not inside((x, y), ground.boundary)

    def _kept_up(self, speed: float, request: Request, causes: list[str], now_ns: int) -> float:
        """Note the hold-backs in force, each until its cause has been gone for the set time; count those that begin.

        An obstacle keeps the wheels from going on towards it for as long.
        """
        if not causes and not self._until:
            self.causes = ()
            return speed
        for cause in causes:
            if cause not in self._until:
                self._began.append(now_ns)
            self._until[cause] = now_ns + int(self._limits.resume_after * 1e9)
        for cause in [cause for cause, until in self._until.items() if now_ns >= until]:
            del self._until[cause]
        window = int(self._limits.hold_backs_within * 1e9)
        while self._began and now_ns - self._began[0] > window:
            self._began.popleft()
        self.causes = tuple(self._until)
        forward_held = "obstacle" in self._until and request.speed > 0.0 and not request.expects_contact
        return 0.0 if forward_held and not request.range_blocked else speed

    def _ramp(self, speed: float, turn_rate: float, seconds: float) -> None:
        limits = self._limits
        if speed != self._speed:
            slowing = abs(speed) < abs(self._speed) or speed * self._speed < 0.0
            step = (limits.deceleration if slowing else limits.acceleration) * seconds
            self._speed += clamp(speed - self._speed, -step, step)
        if turn_rate != self._turn_rate:
            step = limits.turn_acceleration * seconds
            self._turn_rate += clamp(turn_rate - self._turn_rate, -step, step)
