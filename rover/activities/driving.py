"""Activities that drive: straight runs, turns, going to a place, standing still."""

import math
from collections.abc import Mapping
from typing import Any

from rover import quantities
from rover.activities.activity import Activity, World
from rover.activities.places import obstacles, place_of
from rover.behaviour.vocabulary import ActivitySpec, Choice, Number, Outcome, Parameter, Place
from rover.events import Note
from rover.motion.profile import bearing_to, towards, turning
from rover.motion.request import STILL, Request
from rover.motion.route import route
from rover.quantities import wrap

LENGTH, ANGLE = Number(quantities.LENGTH), Number(quantities.ANGLE)
SPEED, TURN_RATE = Number(quantities.SPEED), Number(quantities.TURN_RATE)

HEADING_GAIN = 2.5
TURNED_ENOUGH = math.radians(2.0)
TURN_FIRST = math.radians(35.0)
"""A point further off the bow than this is turned to on the spot before driving."""
STALL_AFTER = 1.5
"""Seconds of wanting to move and not moving, after which the wheels are stalled."""
GIVE_UP_HELD = 3.0
"""Seconds of being held back after which a straight run has failed."""


def half_width(world: World) -> float:
    """Return half the body's width (m)."""
    return 0.5 * world.robot.body.width


class StallWatch:
    """Tells when the wheels are driven and do not turn."""

    def __init__(self) -> None:
        self._seconds = 0.0

    def stalled(self, world: World, request: Request) -> bool:
        """Look at one step; a robot that is held back is not stalled."""
        wanted = abs(request.speed) > 0.03 or abs(request.turn_rate) > 0.2
        moving = abs(world.filter.speed) > 0.01 or abs(world.filter.heading_rate) > 0.05
        if not wanted or moving or world.signals.motion_held_back or not world.signals.counts_ok:
            self._seconds = 0.0
        else:
            self._seconds += world.seconds
        return self._seconds > STALL_AFTER


def trouble(world: World, stall: StallWatch, request: Request, patience: float = math.inf) -> str:
    """Return why driving on is of no use: held back for longer than ``patience`` (s), or stalled; else ''."""
    if world.held_back_for > patience:
        return f"held back for {patience:.0f} s"
    return "the wheels are driven and do not turn" if stall.stalled(world, request) else ""


class StandStill(Activity):
    """Stands still until the state is left."""

    spec = ActivitySpec("stand still until the state is left", can_fail=False, ends=False)

    def __init__(self, world: World, values: Mapping[str, Any]) -> None:
        self.outcome = Outcome.RUNNING

    def step(self, world: World) -> Request:
        """Want nothing."""
        return STILL


class Ask(Activity):
    """Stands still and waits for the operator's yes or no."""

    spec = ActivitySpec(
        "stand still until the operator answers; done on yes, failed on no", {}, waits_for_operator=True
    )

    def __init__(self, world: World, values: Mapping[str, Any]) -> None:
        self.outcome = Outcome.RUNNING
        world.answer = world.signals.operator_answer = "none"
        chosen = world.targets.chosen
        about = "" if chosen is None else f": {chosen.kind} at x {chosen.x:.2f} m, y {chosen.y:.2f} m"
        world.events.append(Note("question", f"yes or no{about}"))

    def step(self, world: World) -> Request:
        """Look for the answer."""
        if world.answer != "none":
            self.outcome = Outcome.DONE if world.answer == "yes" else Outcome.FAILED
        return STILL


def drawn(world: World, values: Mapping[str, Any], name: str) -> float:
    """Return a parameter, or a seeded random value between it and ``up_to`` where that is given."""
    least, most = values[name], values.get("up_to")
    return float(least if most is None else world.random.uniform(least, most))


class _Run(Activity):
    """A straight run of a set length along the heading it begins with."""

    def __init__(self, world: World, distance: float, most: float) -> None:
        self.outcome = Outcome.RUNNING
        self._heading = world.pose.heading
        self._start = (world.pose.x, world.pose.y)
        self._distance = distance
        self._most = most
        self._stall = StallWatch()

    def to_go(self, world: World) -> float:
        """Return the signed length (m) still to go along the run's line."""
        dx, dy = world.pose.x - self._start[0], world.pose.y - self._start[1]
        return self._distance - (dx * math.cos(self._heading) + dy * math.sin(self._heading))

    def step(self, world: World) -> Request:
        """Keep the heading, and slow down towards the end."""
        left = self.to_go(world)
        if left * self._distance <= 0.0 or abs(left) < 0.008:
            self.outcome = Outcome.DONE
            return STILL
        speed = towards(left, self._most, 0.7 * world.robot.limits.deceleration)
        request = Request(speed, HEADING_GAIN * wrap(self._heading - world.pose.heading))
        self.why = trouble(world, self._stall, request, GIVE_UP_HELD)
        if self.why:
            self.outcome = Outcome.FAILED
        return request


_RUN = {
    "length": Parameter(LENGTH, "how far", required=True, positive=True),
    "up_to": Parameter(LENGTH, "with it, a random length between 'length' and this", positive=True),
    "speed": Parameter(SPEED, "at most this fast; default: the robot's limit", positive=True),
}


class DriveStraight(_Run):
    """Drives forward by a length."""

    spec = ActivitySpec("drive straight forward by a length", _RUN, ("drive", "counts"))

    def __init__(self, world: World, values: Mapping[str, Any]) -> None:
        most = values.get("speed", world.robot.limits.speed)
        super().__init__(world, drawn(world, values, "length"), most)


class Reverse(_Run):
    """Drives backwards by a length."""

    spec = ActivitySpec(
        "drive straight backwards by a length",
        _RUN | {"jaws": Parameter(Choice(frozenset({"open", "closed", "as_they_are"})), "what the jaws do meanwhile")},
        ("drive", "counts"),
    )

    def __init__(self, world: World, values: Mapping[str, Any]) -> None:
        most = values.get("speed", 0.6 * world.robot.limits.speed)
        super().__init__(world, -drawn(world, values, "length"), most)
        self._jaws = {"open": 1.0, "closed": 0.0}.get(values.get("jaws", "as_they_are"))

    def step(self, world: World) -> Request:
        """As a straight run, with the jaws as told."""
        return super().step(world)._replace(jaws=self._jaws)


class DriveOn(Activity):
    """Drives forward along the present heading until the state is left."""

    spec = ActivitySpec(
        "drive straight forward until the state is left",
        {"speed": Parameter(SPEED, "at most this fast; default: half the robot's limit", positive=True)},
        ("drive", "counts"),
        ends=False,
    )

    def __init__(self, world: World, values: Mapping[str, Any]) -> None:
        self.outcome = Outcome.RUNNING
        self._heading = world.pose.heading
        self._speed = values.get("speed", 0.5 * world.robot.limits.speed)
        self._stall = StallWatch()

    def step(self, world: World) -> Request:
        """Keep the heading."""
        request = Request(self._speed, HEADING_GAIN * wrap(self._heading - world.pose.heading))
        self.why = trouble(world, self._stall, request)
        if self.why:
            self.outcome = Outcome.FAILED
        return request


class TurnTowards:
    """A turn on the spot to a heading; the part of other activities that turns."""

    def __init__(self, heading: float, most: float) -> None:
        self.heading = heading
        self._most = most
        self._settled = 0

    def request(self, world: World) -> Request | None:
        """Return what is wanted, or None once the heading is reached and the robot has come to rest."""
        error = wrap(self.heading - world.pose.heading)
        if abs(error) < TURNED_ENOUGH and abs(world.filter.heading_rate) < 0.15:
            self._settled += 1
            return STILL if self._settled < 3 else None
        self._settled = 0
        rate = turning(error, self._most, world.robot.limits.turn_acceleration)
        return Request(0.0, math.copysign(max(abs(rate), 0.15), rate) if abs(error) > TURNED_ENOUGH else 0.0)


class Turn(Activity):
    """Turns on the spot by an angle or to a heading."""

    spec = ActivitySpec(
        "turn on the spot, by an angle or to a heading",
        {
            "by": Parameter(ANGLE, "by this angle, left positive"),
            "to": Parameter(ANGLE, "to this heading in the field"),
            "up_to": Parameter(ANGLE, "with it, a random angle between the one given and this"),
            "rate": Parameter(TURN_RATE, "at most this fast; default: the robot's limit", positive=True),
        },
        ("drive", "counts"),
        one_of=("by", "to"),
    )

    def __init__(self, world: World, values: Mapping[str, Any]) -> None:
        self.outcome = Outcome.RUNNING
        heading = drawn(world, values, "to") if "to" in values else world.pose.heading + drawn(world, values, "by")
        self._turn = TurnTowards(wrap(heading), values.get("rate", world.robot.limits.turn_rate))
        self._stall = StallWatch()

    def step(self, world: World) -> Request:
        """Turn on."""
        request = self._turn.request(world)
        if request is None:
            self.outcome = Outcome.DONE
            return STILL
        self.why = trouble(world, self._stall, request, GIVE_UP_HELD)
        if self.why:
            self.outcome = Outcome.FAILED
        return request


def loaded(world: World) -> bool:
    """Tell whether the range finder looks at something held: recorded as carried, or seen between the closed jaws."""
    return world.book.carried is not None or bool(world.signals.target_in_jaws)


class Way:
    """Driving along a route to a point, round what stands in the way; the part of other activities that travels."""

    NEAR = 0.04
    PASSED = 0.12
    MOST_DETOURS = 4

    def __init__(self, world: World, goal: tuple[float, float], most: float) -> None:
        self.outcome = Outcome.RUNNING
        self.why = ""
        self._goal = goal
        self._most = most
        self._detours = 0
        self._rounding = False
        self._stall = StallWatch()
        self._turn: TurnTowards | None = None
        self._nearest = math.inf
        self._plan(world)

    def _plan(self, world: World) -> None:
        start = (world.pose.x, world.pose.y)
        keep = obstacles(world, half_width(world))
        way = route(start, self._goal, keep, world.ground, half_width(world) + 0.05)
        self._points = way or [self._goal]
        if way is None:
            self.outcome, self.why = Outcome.FAILED, "found no way round what stands in between"
        self._nearest = math.inf

    def request(self, world: World) -> Request:
        """Return what is wanted; ``outcome`` tells when the goal is reached or not to be reached."""
        if self.outcome == Outcome.FAILED:
            return STILL
        if world.obstacle and world.held_back_for > 1.0 and not loaded(world):
            return self._round(world)
        self._rounding = False
        distance, bearing = bearing_to(world.pose.x, world.pose.y, world.pose.heading, *self._points[0])
        last = len(self._points) == 1
        if self._arrived(distance, bearing, last):
            if last:
                self.outcome = Outcome.DONE
                return STILL
            self._points.pop(0)
            self._nearest, self._turn = math.inf, None
            return self.request(world)
        request = self._steer(world, distance, bearing, last)
        self.why = trouble(world, self._stall, request, 2.0 * GIVE_UP_HELD)
        if self.why:
            self.outcome = Outcome.FAILED
        return request

    def _arrived(self, distance: float, bearing: float, last: bool) -> bool:
        if distance < (self.NEAR if last else self.PASSED):
            return True
        # Past the point: it was near, and is getting farther, to the side or behind.
        passed = self._nearest < 0.15 and distance > self._nearest + 0.01 and abs(bearing) > 1.0
        self._nearest = min(self._nearest, distance)
        return passed

    def _steer(self, world: World, distance: float, bearing: float, last: bool) -> Request:
        if self._turn is None and abs(bearing) > TURN_FIRST:
            self._turn = TurnTowards(wrap(world.pose.heading + bearing), world.robot.limits.turn_rate)
        if self._turn is not None:
            self._turn.heading = wrap(world.pose.heading + bearing)
            request = self._turn.request(world)
            if request is not None and abs(bearing) > math.radians(4.0):
                return request._replace(range_blocked=loaded(world))
            self._turn = None
        speed = towards(distance if last else distance + 0.2, self._most, 0.6 * world.robot.limits.deceleration)
        speed *= max(0.25, math.cos(min(1.5, 1.5 * abs(bearing))))
        return Request(speed, HEADING_GAIN * bearing, range_blocked=loaded(world))

    def _round(self, world: World) -> Request:
        """Something unknown is ahead: back off from it until the limits let go, then go on along another way."""
        if not self._rounding:
            self._rounding = True
            self._look_for_another(world)
        elif world.held_back_for > 2.0 * GIVE_UP_HELD:
            self.outcome, self.why = Outcome.FAILED, "backing off from an obstacle does not free the way"
        return Request(-0.08, 0.0) if self.outcome == Outcome.RUNNING else STILL

    def _look_for_another(self, world: World) -> None:
        self._detours += 1
        if self._detours > self.MOST_DETOURS:
            self.outcome, self.why = Outcome.FAILED, "met one obstacle after another"
            return
        reach = 0.5 * world.robot.body.length + world.robot.limits.stop_gap + 0.06
        c, s = math.cos(world.pose.heading), math.sin(world.pose.heading)
        world.book.obstacles.append((world.pose.x + reach * c, world.pose.y + reach * s))
        self._plan(world)
        self._turn = None


class DriveTo(Activity):
    """Drives to a place round what stands in the way, and turns to the place's heading if it has one."""

    spec = ActivitySpec(
        "drive to a place, round remembered objects, filled slots and walls",
        {
            "place": Parameter(Place(), "where to", required=True),
            "speed": Parameter(SPEED, "at most this fast; default: the robot's limit", positive=True),
        },
        ("drive", "counts"),
    )

    def __init__(self, world: World, values: Mapping[str, Any]) -> None:
        self.outcome = Outcome.RUNNING
        place = place_of(world, values["place"])
        self._way: Way | None = None
        self._turn: TurnTowards | None = None
        if place is None:
            self.outcome, self.why = Outcome.FAILED, f"there is no {values['place']} now"
            return
        x, y, heading = place
        most = values.get("speed", world.robot.limits.speed)
        self._way = Way(world, (x, y), most)
        if heading is not None:
            self._turn = TurnTowards(heading, world.robot.limits.turn_rate)

    def step(self, world: World) -> Request:
        """Go on along the way, then turn."""
        if self._way is not None:
            request = self._way.request(world)
            if self._way.outcome == Outcome.DONE:
                self._way = None
            elif self._way.outcome == Outcome.FAILED:
                self.outcome, self.why = Outcome.FAILED, self._way.why
            return request
        turn = self._turn.request(world) if self._turn is not None else None
        if turn is None:
            self.outcome = Outcome.DONE
            return STILL
        return turn
