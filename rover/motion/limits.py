"""Hold-backs, caps and ramps: every request passes here, and nothing else moves.

A *hold-back* takes away only the motion that makes it worse and ends by itself; a stop latches (`rover.core.stopping`).
This is software on a hobby-size machine, not a certified safety function.
"""

import math
from typing import NamedTuple

from rover.estimate.doubt import SURE
from rover.estimate.field import Ground
from rover.files.robot import LimitSettings, Robot
from rover.motion.echo import Room, foremost, looks_along, swept_radius
from rover.motion.explored import PROVED, SILENCE, Explored, Lane
from rover.motion.hold_backs import ALL, BACKWARDS, FORWARDS, LEFT, RIGHT, Count, HoldBacks, all_of, motions_of
from rover.motion.keep_clear import TURNS, KeepClear, Velocity, Whereabouts
from rover.motion.profile import ramped
from rover.motion.request import FEEL, Request
from rover.quantities import clamp

BLOCKED_SHARE = 0.75
"""Share of the speed limit that is left while the range finder looks at something carried."""
GENTLE_SHARE = 0.9
"""Share of the contact speed that is asked for where something may be touched unawares: wheels overshoot."""
REACTION = 0.2
"""Where nobody knows what stands the braking begins so long (s) before it must: motors lag."""
STALLED, OBSTACLE, BEHIND, BESIDE = "stalled", "obstacle", "obstacle behind", "obstacle beside"


class Allowed(NamedTuple):
    """What is left of a request: m/s, rad/s, jaws."""

    speed: float
    turn_rate: float
    jaws: float | None


class Missing(NamedTuple):
    """What the want of devices does to the wheels: why they must stand still, why they may only go slowly, or ''."""

    standstill: str = ""
    slowly: str = ""


NOTHING_MISSING = Missing()


class InTheWay(NamedTuple):
    """What the sensors tell of the way.

    Attributes:
        room: what the range finders leave free.
        contacts: what bumpers feel, as (cause, motions that push on).
        is_stalled: wheels that were driven have not turned.
    """

    room: Room = Room()
    contacts: tuple[tuple[str, int], ...] = ()
    is_stalled: bool = False


class Situation(NamedTuple):
    """What the limits have to know of a step; ``where`` is None where nobody knows."""

    now_ns: int
    seconds: float
    where: Whereabouts | None
    in_the_way: InTheWay = InTheWay()
    missing: Missing = NOTHING_MISSING


def fastest(robot: Robot) -> tuple[float, float]:
    """Return how fast (m/s) a robot may drive ahead and back: where no range finder looks, it may touch something."""
    limits = robot.limits
    slow = min(limits.speed, limits.contact_speed)
    ahead, back = looks_along(robot)
    return limits.speed if ahead else slow, limits.speed if back else slow


def gentle_speed(limits: LimitSettings) -> float:
    """Return how fast (m/s) to go where something may be touched that nobody knows of."""
    return GENTLE_SHARE * limits.contact_speed


class Limits:
    """Applies the robot file's limits.

    Args:
        robot: the robot file.
        ground: the field; None where only the person knows where the floor ends.
        widest: width (m) of the widest thing that the jaws may hold.
        explored: the ground that is known to be free; None where the person looks.

    Attributes:
        began: the hold-backs that began in the last step.
    """

    def __init__(self, robot: Robot, ground: Ground | None, widest: float, explored: Explored | None = None) -> None:
        limits = self._limits = robot.limits
        self._explored = explored
        self._keep_clear = None if ground is None else KeepClear(robot, ground, widest)
        self._swept, self._lane = swept_radius(robot), Lane(foremost(robot), 0.5 * robot.body.width)
        self._ahead, self._back = (limits.speed,) * 2 if ground is None else fastest(robot)
        self._now = Velocity(0.0, 0.0)
        self._hold_backs, self._caps = HoldBacks(limits.resume_after), HoldBacks(limits.resume_after)
        self._count = Count(limits.hold_backs, limits.hold_backs_within)
        self._stalls = Count(limits.stalls, limits.stalls_within)
        self.began: list[str] = []

    @property
    def causes(self) -> tuple[str, ...]:
        """The hold-backs in force."""
        return self._hold_backs.causes

    @property
    def slowed_by(self) -> tuple[str, ...]:
        """Why the robot may only go slowly now: nothing is taken away but speed."""
        return self._caps.causes

    def stop(self) -> Allowed:
        """Return zero at once, without a ramp: the drive is de-energised (stop category 0 of IEC 60204-1)."""
        self._now = Velocity(0.0, 0.0)
        return Allowed(0.0, 0.0, None)

    def apply(self, request: Request, situation: Situation) -> Allowed:
        """Return what is allowed of a request now."""
        found: list[tuple[str, int]] = []
        standstill, slowly = situation.missing
        if slowly or self._caps.causes:
            self._caps.take([(slowly, 0)] if slowly else [], situation.now_ns)
        if standstill:
            found.append((standstill, ALL))
            wanted = _AT_REST
        else:
            wanted = self._capped(request)
        touches = request.expects_contact or request.range_blocked
        room, contacts, is_stalled = situation.in_the_way
        if is_stalled:
            found.append((STALLED, motions_of(*self._now)))
        if contacts:
            found += contacts
            self._now = _without(self._now, all_of(contacts))  # at once, without a ramp
        wanted = self._within(room, wanted, touches, found)
        if self._explored is not None and situation.where is not None:
            wanted = self._where_known(self._explored, situation.where, wanted)
        if self._keep_clear is not None and situation.where is not None and wanted != _AT_REST:
            where = situation.where._replace(doubt=SURE) if request.feels else situation.where
            wanted, held = self._keep_clear.allow(wanted, self._now, where, situation.seconds)
            found += held
        if found or self._hold_backs.causes:
            self._note(self._hold_backs.take(found, situation.now_ns), situation.now_ns)
            but = (*((OBSTACLE,) if touches else ()), *(() if self._turns_on_the_spot(wanted) else (BESIDE,)))
            wanted = _without(wanted, self._hold_backs.taken(but))
        if wanted != self._now:
            self._ramp(wanted, situation.seconds)
        return Allowed(*self._now, request.jaws)

    @property
    def why_stop(self) -> str:
        """Return what happened more often than the robot file allows, which latches a stop, or ''."""
        if self._count.is_too_many:
            return "held back too often"
        return "stalled too often" if self._stalls.is_too_many else ""

    def count_afresh(self) -> None:
        """Begin to count hold-backs and stalls afresh, after a reset."""
        self._count.clear()
        self._stalls.clear()

    def _capped(self, request: Request) -> Velocity:
        limits = self._limits
        if not (-math.inf < request.speed < math.inf and -math.inf < request.turn_rate < math.inf):
            return _AT_REST
        ahead, back, turning = self._ahead, self._back, limits.turn_rate
        if request.feels:
            ahead = back = min(FEEL, limits.speed, limits.contact_speed)
            turning = min(turning, FEEL / self._swept)
        elif request.expects_contact or self._caps.causes:
            ahead, back = min(ahead, limits.contact_speed), min(back, limits.contact_speed)
        elif request.range_blocked:
            ahead, back = BLOCKED_SHARE * ahead, BLOCKED_SHARE * back
        return Velocity(clamp(request.speed, -back, ahead), clamp(request.turn_rate, -turning, turning))

    def _within(self, room: Room, wanted: Velocity, touches: bool, found: list[tuple[str, int]]) -> Velocity:
        """Return what is left of what is wanted by what stands ahead, behind or beside; ``touches``: ahead it may."""
        speed, turn_rate = wanted
        if speed > 0.0 and not touches and room.perhaps_ahead < math.inf:
            way = 2.0 * self._limits.deceleration * max(0.0, room.perhaps_ahead)
            speed = min(speed, math.sqrt(gentle_speed(self._limits) ** 2 + way))
        if speed > 0.0 and not touches and room.ahead < math.inf:
            speed = min(speed, self._fastest_before(room.ahead, (OBSTACLE, FORWARDS), found))
        elif speed < 0.0 and room.behind < math.inf:
            speed = max(speed, -self._fastest_before(room.behind, (BEHIND, BACKWARDS), found))
        if room.beside < self._swept and self._turns_on_the_spot(wanted):
            found.append((BESIDE, LEFT | RIGHT))
            turn_rate = 0.0
        return Velocity(speed, turn_rate)

    def _where_known(self, explored: Explored, where: Whereabouts, wanted: Velocity) -> Velocity:
        """Return what is left of what is wanted where nobody knows whether something stands: it is touched gently."""
        speed, turn_rate = wanted
        gently = gentle_speed(self._limits)
        if speed > gently and explored.is_looking:
            slowing = self._limits.deceleration
            braking = (speed * speed - gently * gently) / (2.0 * slowing) + speed * REACTION
            since_ns = PROVED if where.loaded else SILENCE
            way = explored.way_ahead(where.pose, self._lane, braking, since_ns) - gently * REACTION
            lag = slowing * REACTION
            faster = math.sqrt((gently + lag) ** 2 + 2.0 * slowing * max(0.0, way)) - (gently + lag)
            speed = min(speed, gently + faster)
        is_fast = abs(turn_rate) * self._swept > gently and self._turns_on_the_spot(wanted)
        if is_fast and not explored.is_round(where.pose, self._swept):
            turn_rate = math.copysign(gently / self._swept, turn_rate)
        return Velocity(speed, turn_rate)

    def _turns_on_the_spot(self, wanted: Velocity) -> bool:
        """Tell whether corners go aside faster than the middle goes along: who only steers is soon past it."""
        return abs(wanted.turn_rate) > TURNS and abs(wanted.turn_rate) * self._swept > abs(wanted.speed)

    def _fastest_before(self, gap: float, cause: tuple[str, int], found: list[tuple[str, int]]) -> float:
        """Return the speed at which the robot still stops ``stop_gap`` before what is near: v = sqrt(2 a d)."""
        room = gap - self._limits.stop_gap
        if room <= 0.0:
            found.append(cause)
            return 0.0
        return math.sqrt(2.0 * self._limits.deceleration * room) + 0.02

    def _note(self, began: list[str], now_ns: int) -> None:
        self.began = began
        for cause in began:
            (self._stalls if cause == STALLED else self._count).add(now_ns)

    def _ramp(self, wanted: Velocity, seconds: float) -> None:
        limits, now = self._limits, self._now
        turning = limits.turn_acceleration * seconds
        self._now = Velocity(
            ramped(now.speed, wanted.speed, limits.acceleration * seconds, limits.deceleration * seconds),
            ramped(now.turn_rate, wanted.turn_rate, turning, turning),
        )


_AT_REST = Velocity(0.0, 0.0)


def _without(wanted: Velocity, taken: int) -> Velocity:
    """Return what is wanted without the motions that are taken away."""
    speed, turn_rate = wanted
    return Velocity(
        0.0 if taken & (FORWARDS if speed > 0.0 else BACKWARDS) else speed,
        0.0 if taken & (LEFT if turn_rate > 0.0 else RIGHT) else turn_rate,
    )
