"""Going to a place by a route: the part of other activities that travels, and the activity."""

import math
from collections.abc import Mapping
from typing import Any

from rover.activities.activity import Activity, Knowledge
from rover.activities.driving import HEADING_GAIN, PATIENCE, SPEED, why_give_up
from rover.activities.places import obstacles, place_of
from rover.activities.turning import TurnTowards
from rover.behaviour.vocabulary import ActivitySpec, Parameter, Progress
from rover.kinds import PlaceName
from rover.motion.profile import bearing_to, towards
from rover.motion.request import STILL, Request
from rover.motion.route import route
from rover.quantities import wrap

TURN_FIRST = math.radians(35.0)
"""A point further off the bow than this is turned to on the spot before driving."""


class RouteFollower:
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
        self._turn: TurnTowards | None = None
        self._nearest = math.inf
        self._plan(known)

    def _plan(self, known: Knowledge) -> None:
        start = (known.pose.x, known.pose.y)
        keep = obstacles(known, 0.5 * known.robot.body.width)
        way = route(start, self._goal, keep, known.ground, 0.5 * known.robot.body.width + 0.05)
        self._points = way or [self._goal]
        if way is None:
            self._fail("found no way round what stands in between")
        self._nearest = math.inf

    def _fail(self, why: str) -> None:
        self.progress, self.why = Progress.FAILED, why

    def request(self, known: Knowledge) -> Request:
        """Return what is wanted; ``progress`` tells when the goal is reached or not to be reached."""
        if self.progress == Progress.FAILED:
            return STILL
        if known.obstacle and known.held_back_for > 1.0 and not known.loaded:
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
        if why := why_give_up(known, 2.0 * PATIENCE):
            self._fail(why)
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
                return request._replace(range_blocked=known.loaded)
            self._turn = None
        speed = towards(distance if last else distance + 0.2, self._most, 0.6 * known.robot.limits.deceleration)
        speed *= max(0.25, math.cos(min(1.5, 1.5 * abs(bearing))))
        return Request(speed, HEADING_GAIN * bearing, range_blocked=known.loaded)

    def _round(self, known: Knowledge) -> Request:
        """Something unknown is ahead: back off from it until the limits let go, then go on along another way."""
        if not self._rounding:
            self._rounding = True
            self._look_for_another(known)
        elif known.held_back_for > 2.0 * PATIENCE:
            self._fail("backing off from an obstacle does not free the way")
        return Request(-0.08, 0.0) if self.progress == Progress.UNDER_WAY else STILL

    def _look_for_another(self, known: Knowledge) -> None:
        self._detours += 1
        if self._detours > self.MOST_DETOURS:
            self._fail("met one obstacle after another")
            return
        reach = 0.5 * known.robot.body.length + known.robot.limits.stop_gap + 0.06
        c, s = math.cos(known.pose.heading), math.sin(known.pose.heading)
        known.ledger.met((known.pose.x + reach * c, known.pose.y + reach * s))
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
        place = place_of(known, values["place"])
        self._way: RouteFollower | None = None
        self._turn: TurnTowards | None = None
        self._is_lookout = values["place"] == "field.next_lookout"
        if place is None:
            self.fail(f"there is no {values['place']} now")
            return
        x, y, heading = place
        self._way = RouteFollower(known, (x, y), values.get("speed", known.robot.limits.speed))
        if heading is not None:
            self._turn = TurnTowards(heading, known.robot.limits.turn_rate)

    def step(self, known: Knowledge) -> Request:
        """Go on along the way, then turn."""
        if self._way is not None:
            request = self._way.request(known)
            if self._way.progress == Progress.DONE:
                self._way = None
            elif self._way.progress == Progress.FAILED:
                self.fail(self._way.why)
                if self._is_lookout:
                    known.ledger.looked_at.cannot_reach()
            return request
        turn = self._turn.request(known) if self._turn is not None else None
        return self.done() if turn is None else turn
