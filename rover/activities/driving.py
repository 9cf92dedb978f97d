"""Activities that drive: straight runs, turns, going to a place, standing still."""

import math
from collections.abc import Mapping
from typing import Any

from rover import quantities
from rover.activities.activity import Activity, Knowledge
from rover.activities.places import obstacles, place_of
from rover.behaviour.vocabulary import ActivitySpec, Choice, Number, Parameter, PlaceName, Progress
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


def half_width(known: Knowledge) -> float:
    """Return half the body's width (m)."""
    return 0.5 * known.robot.body.width


class StallWatch:
    """Tells when the wheels are driven and do not turn."""

    def __init__(self) -> None:
        self._seconds = 0.0

    def stalled(self, known: Knowledge, request: Request) -> bool:
        """Look at one step; a robot that is held back is not stalled."""
        wanted = abs(request.speed) > 0.03 or abs(request.turn_rate) > 0.2
        moving = abs(known.filter.speed) > 0.01 or abs(known.filter.heading_rate) > 0.05
        if not wanted or moving or known.signals.motion_held_back or not known.signals.counts_ok:
            self._seconds = 0.0
        else:
            self._seconds += known.seconds
        return self._seconds > STALL_AFTER


def trouble(known: Knowledge, stall: StallWatch, request: Request, patience: float = math.inf) -> str:
    """Return why driving on is of no use: held back for longer than ``patience`` (s), or stalled; else ''."""
    if known.held_back_for > patience:
        return f"held back for {patience:.0f} s"
    return "the wheels are driven and do not turn" if stall.stalled(known, request) else ""


class StandStill(Activity):
    """Stands still until the state is left."""

    spec = ActivitySpec("stand still until the state is left", can_fail=False, ends=False)

    def __init__(self, known: Knowledge, values: Mapping[str, Any]) -> None:
        self.progress = Progress.UNDER_WAY

    def step(self, known: Knowledge) -> Request:
        """Want nothing."""
        return STILL


class Ask(Activity):
    """Stands still and waits for the operator's yes or no."""

    spec = ActivitySpec(
        "stand still until the operator answers; done on yes, failed on no", {}, waits_for_operator=True
    )

    def __init__(self, known: Knowledge, values: Mapping[str, Any]) -> None:
        self.progress = Progress.UNDER_WAY
        known.answer = known.signals.operator_answer = "none"
        chosen = known.targets.chosen
        about = "" if chosen is None else f": {chosen.kind} at x {chosen.x:.2f} m, y {chosen.y:.2f} m"
        known.events.append(Note("question", f"yes or no{about}"))

    def step(self, known: Knowledge) -> Request:
        """Look for the answer."""
        if known.answer != "none":
            self.progress = Progress.DONE if known.answer == "yes" else Progress.FAILED
        return STILL


def drawn(known: Knowledge, values: Mapping[str, Any], name: str) -> float:
    """Return a parameter, or a seeded random value between it and ``up_to`` where that is given."""
    least, most = values[name], values.get("up_to")
    return float(least if most is None else known.random.uniform(least, most))


class _Run(Activity):
    """A straight run of a set length along the heading it begins with."""

    def __init__(self, known: Knowledge, distance: float, most: float) -> None:
        self.progress = Progress.UNDER_WAY
        self._heading = known.pose.heading
        self._start = (known.pose.x, known.pose.y)
        self._distance = distance
        self._most = most
        self._stall = StallWatch()

    def to_go(self, known: Knowledge) -> float:
        """Return the signed length (m) still to go along the run's line."""
        dx, dy = known.pose.x - self._start[0], known.pose.y - self._start[1]
        return self._distance - (dx * math.cos(self._heading) + dy * math.sin(self._heading))

    def step(self, known: Knowledge) -> Request:
        """Keep the heading, and slow down towards the end."""
        left = self.to_go(known)
        if left * self._distance <= 0.0 or abs(left) < 0.008:
            self.progress = Progress.DONE
            return STILL
        speed = towards(left, self._most, 0.7 * known.robot.limits.deceleration)
        request = Request(speed, HEADING_GAIN * wrap(self._heading - known.pose.heading))
        self.why = trouble(known, self._stall, request, GIVE_UP_HELD)
        if self.why:
            self.progress = Progress.FAILED
        return request


_RUN = {
    "length": Parameter(LENGTH, "how far", required=True, positive=True),
    "up_to": Parameter(LENGTH, "with it, a random length between 'length' and this", positive=True),
    "speed": Parameter(SPEED, "at most this fast; default: the robot's limit", positive=True),
}


class RunStraight(_Run):
    """Drives forward by a length."""

    spec = ActivitySpec("drive straight forward by a length", _RUN, ("drive", "counts"))

    def __init__(self, known: Knowledge, values: Mapping[str, Any]) -> None:
        most = values.get("speed", known.robot.limits.speed)
        super().__init__(known, drawn(known, values, "length"), most)


class Reverse(_Run):
    """Drives backwards by a length."""

    spec = ActivitySpec(
        "drive straight backwards by a length",
        _RUN | {"jaws": Parameter(Choice(frozenset({"open", "closed", "as_they_are"})), "what the jaws do meanwhile")},
        ("drive", "counts"),
    )

    def __init__(self, known: Knowledge, values: Mapping[str, Any]) -> None:
        most = values.get("speed", 0.6 * known.robot.limits.speed)
        super().__init__(known, -drawn(known, values, "length"), most)
        self._jaws = {"open": 1.0, "closed": 0.0}.get(values.get("jaws", "as_they_are"))

    def step(self, known: Knowledge) -> Request:
        """As a straight run, with the jaws as told."""
        return super().step(known)._replace(jaws=self._jaws)


class DriveOn(Activity):
    """Drives forward along the present heading until the state is left."""

    spec = ActivitySpec(
        "drive straight forward until the state is left",
        {"speed": Parameter(SPEED, "at most this fast; default: half the robot's limit", positive=True)},
        ("drive", "counts"),
        ends=False,
    )

    def __init__(self, known: Knowledge, values: Mapping[str, Any]) -> None:
        self.progress = Progress.UNDER_WAY
        self._heading = known.pose.heading
        self._speed = values.get("speed", 0.5 * known.robot.limits.speed)
        self._stall = StallWatch()

    def step(self, known: Knowledge) -> Request:
        """Keep the heading."""
        request = Request(self._speed, HEADING_GAIN * wrap(self._heading - known.pose.heading))
        self.why = trouble(known, self._stall, request)
        if self.why:
            self.progress = Progress.FAILED
        return request


class TurnTowards:
    """A turn on the spot to a heading; the part of other activities that turns."""

    def __init__(self, heading: float, most: float) -> None:
        self.heading = heading
        self._most = most
        self._settled = 0

    def request(self, known: Knowledge) -> Request | None:
        """Return what is wanted, or None once the heading is reached and the robot has come to rest."""
        error = wrap(self.heading - known.pose.heading)
        if abs(error) < TURNED_ENOUGH and abs(known.filter.heading_rate) < 0.15:
            self._settled += 1
            return STILL if self._settled < 3 else None
        self._settled = 0
        rate = turning(error, self._most, known.robot.limits.turn_acceleration)
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

    def __init__(self, known: Knowledge, values: Mapping[str, Any]) -> None:
        self.progress = Progress.UNDER_WAY
        heading = drawn(known, values, "to") if "to" in values else known.pose.heading + drawn(known, values, "by")
        self._turn = TurnTowards(wrap(heading), values.get("rate", known.robot.limits.turn_rate))
        self._stall = StallWatch()

    def step(self, known: Knowledge) -> Request:
        """Turn on."""
        request = self._turn.request(known)
        if request is None:
            self.progress = Progress.DONE
            return STILL
        self.why = trouble(known, self._stall, request, GIVE_UP_HELD)
        if self.why:
            self.progress = Progress.FAILED
        return request


def loaded(known: Knowledge) -> bool:
    """Tell whether the range finder looks at something held: recorded as carried, or seen between the closed jaws."""
    return known.ledger.carried is not None or bool(known.signals.target_in_jaws)


class Way:
    """Driving along a route to a point, round what stands in the way; the part of other activities that travels."""

    NEAR = 0.04
    PASSED = 0.12
    MOST_DETOURS = 4

    def __init__(self, known: Knowledge, goal: tuple[float, float], most: float) -> None:
        self.progress = Progress.UNDER_WAY
        self.why = ""
        self._goal = goal
        self._most = most
        self._detours = 0
        self._rounding = False
        self._stall = StallWatch()
        self._turn: TurnTowards | None = None
        self._nearest = math.inf
        self._plan(known)

    def _plan(self, known: Knowledge) -> None:
        start = (known.pose.x, known.pose.y)
        keep = obstacles(known, half_width(known))
        way = route(start, self._goal, keep, known.ground, half_width(known) + 0.05)
        self._points = way or [self._goal]
        if way is None:
            self.progress, self.why = Progress.FAILED, "found no way round what stands in between"
        self._nearest = math.inf

    def request(self, known: Knowledge) -> Request:
        """Return what is wanted; ``progress`` tells when the goal is reached or not to be reached."""
        if self.progress == Progress.FAILED:
            return STILL
        if known.obstacle and known.held_back_for > 1.0 and not loaded(known):
            return self._round(known)
        self._rounding = False
        distance, bearing = bearing_to(known.pose.x, known.pose.y, known.pose.heading, *self._points[0])
        last = len(self._points) == 1
        if self._arrived(distance, bearing, last):
            if last:
                self.progress = Progress.DONE
                return STILL
            self._points.pop(0)
            self._nearest, self._turn = math.inf, None
            return self.request(known)
        request = self._steer(known, distance, bearing, last)
        self.why = trouble(known, self._stall, request, 2.0 * GIVE_UP_HELD)
        if self.why:
            self.progress = Progress.FAILED
        return request

    def _arrived(self, distance: float, bearing: float, last: bool) -> bool:
        if distance < (self.NEAR if last else self.PASSED):
            return True
        # Past the point: it was near, and is getting farther, to the side or behind.
        passed = self._nearest < 0.15 and distance > self._nearest + 0.01 and abs(bearing) > 1.0
        self._nearest = min(self._nearest, distance)
        return passed

    def _steer(self, known: Knowledge, distance: float, bearing: float, last: bool) -> Request:
        if self._turn is None and abs(bearing) > TURN_FIRST:
            self._turn = TurnTowards(wrap(known.pose.heading + bearing), known.robot.limits.turn_rate)
        if self._turn is not None:
            self._turn.heading = wrap(known.pose.heading + bearing)
            request = self._turn.request(known)
            if request is not None and abs(bearing) > math.radians(4.0):
                return request._replace(range_blocked=loaded(known))
            self._turn = None
        speed = towards(distance if last else distance + 0.2, self._most, 0.6 * known.robot.limits.deceleration)
        speed *= max(0.25, math.cos(min(1.5, 1.5 * abs(bearing))))
        return Request(speed, HEADING_GAIN * bearing, range_blocked=loaded(known))

    def _round(self, known: Knowledge) -> Request:
        """Something unknown is ahead: back off from it until the limits let go, then go on along another way."""
        if not self._rounding:
            self._rounding = True
            self._look_for_another(known)
        elif known.held_back_for > 2.0 * GIVE_UP_HELD:
            self.progress, self.why = Progress.FAILED, "backing off from an obstacle does not free the way"
        return Request(-0.08, 0.0) if self.progress == Progress.UNDER_WAY else STILL

    def _look_for_another(self, known: Knowledge) -> None:
        self._detours += 1
        if self._detours > self.MOST_DETOURS:
            self.progress, self.why = Progress.FAILED, "met one obstacle after another"
            return
        reach = 0.5 * known.robot.body.length + known.robot.limits.stop_gap + 0.06
        c, s = math.cos(known.pose.heading), math.sin(known.pose.heading)
        known.ledger.obstacles.append((known.pose.x + reach * c, known.pose.y + reach * s))
        self._plan(known)
        self._turn = None


class DriveTo(Activity):
    """Drives to a place round what stands in the way, and turns to the place's heading if it has one."""

    spec = ActivitySpec(
        "drive to a place, round remembered objects, filled slots and walls",
        {
            "place": Parameter(PlaceName(), "where to", required=True),
            "speed": Parameter(SPEED, "at most this fast; default: the robot's limit", positive=True),
        },
        ("drive", "counts"),
    )

    def __init__(self, known: Knowledge, values: Mapping[str, Any]) -> None:
        self.progress = Progress.UNDER_WAY
        place = place_of(known, values["place"])
        self._way: Way | None = None
        self._turn: TurnTowards | None = None
        if place is None:
            self.progress, self.why = Progress.FAILED, f"there is no {values['place']} now"
            return
        x, y, heading = place
        most = values.get("speed", known.robot.limits.speed)
        self._way = Way(known, (x, y), most)
        if heading is not None:
            self._turn = TurnTowards(heading, known.robot.limits.turn_rate)

    def step(self, known: Knowledge) -> Request:
        """Go on along the way, then turn."""
        if self._way is not None:
            request = self._way.request(known)
            if self._way.progress == Progress.DONE:
                self._way = None
            elif self._way.progress == Progress.FAILED:
                self.progress, self.why = Progress.FAILED, self._way.why
            return request
        turn = self._turn.request(known) if self._turn is not None else None
        if turn is None:
            self.progress = Progress.DONE
            return STILL
        return turn
