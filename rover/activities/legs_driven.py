"""Driving the legs of a way: a turn on the spot, then straight to the end, slowly where that leaves little room."""

import math
from collections.abc import Sequence
from itertools import pairwise

from rover.activities.activity import Knowledge
from rover.activities.driving import HEADING_GAIN
from rover.activities.getting_free import Piece
from rover.activities.turning import TurnTowards
from rover.geometry import XY, Pose, distance_to_segment
from rover.motion.keep_clear import CREEP, room_due
from rover.motion.legs import Leg
from rover.motion.profile import bearing_to, towards
from rover.motion.request import FEEL, Request
from rover.quantities import wrap

NEAR, PASSED = 0.04, 0.12
"""The last leg's end is reached within the first (m); another's within the second, if that leaves as much room."""
BY_THE_WAY = 0.15
"""A point on the way that was passed as near as this (m) is left behind; the last one only at ``NEAR``, twice."""
EXACT, EXACT_SHARE = 0.015, 0.25
"""Where the next leg leaves little room, it begins within this (m) and this share of that room of where it should."""
TURN_FIRST = math.radians(35.0)
"""A point further off the bow than this is turned to on the spot before driving ..."""
TURN_FIRST_IN_TIGHT = math.radians(5.0)
"""... and than this where a leg leaves less room than ``TIGHT`` (m)."""
SOON = 0.2
"""Held back for so long (s), the rest of a leg is driven at a creep, at which less room is due."""
TIGHT = 0.06
FASTER = 3.0
"""So much faster than at a creep (1/s) for each metre of room beyond what is due at full speed."""
LONG_WAY = math.radians(120.0)
"""A turn that has to go the longer way round is made in pieces of this."""


class LegsDriven:
    """The part of a way's following that drives, one leg after another.

    Args:
        legs: of the way.
        most: speed (m/s), at most.
        planned: speed (m/s) for which the legs leave room.
    """

    def __init__(self, legs: Sequence[Leg], most: float, planned: float) -> None:
        self._legs, self._most, self._planned = legs, most, planned
        self._feels = planned <= FEEL
        self._due: float | None = None
        self._begin_leg()

    def _begin_leg(self) -> None:
        self._nearest = math.inf
        self._creeps = False
        self._turn: TurnTowards | None = None
        self._is_turned = False
        self._is_weighed = False

    @property
    def turns(self) -> float:
        """The angle (rad, left positive) by which it turns on the spot now, or 0."""
        return 0.0 if self._turn is None else self._turn.to_go

    @property
    def motion(self) -> Piece:
        """What it does now; only its sense counts."""
        return Piece(angle=self.turns) if self.turns else Piece(-1.0 if self.are_back else 1.0)

    @property
    def are_back(self) -> bool:
        """The present leg is driven backwards."""
        return bool(self._legs) and self._legs[0].back

    def comes_unsure_to_a_tight_leg(self, known: Knowledge) -> bool:
        """Tell, once for each leg, whether the one that begins now leaves less room (m) than the position has become
        less sure by since it was planned."""
        if self._is_weighed or not self._legs:
            return False
        self._is_weighed = True
        due = room_due(known.robot.limits, known.filter.position_doubt, self._planned).worst
        if self._due is None:
            self._due = due
        return due - self._due > self._legs[0].room

    def distance(self, pose: Pose, place: XY) -> float:
        """Return how far (m) a place is from the way that is left to drive from a pose on."""
        points = [(pose.x, pose.y), *((leg.x, leg.y) for leg in self._legs)]
        return min([distance_to_segment(place, *leg) for leg in pairwise(points)], default=math.inf)

    def request(self, known: Knowledge) -> Request | None:
        """Return what is wanted, None once all legs are driven."""
        if not self._legs:
            return None
        leg, last = self._legs[0], len(self._legs) == 1
        heading = known.pose.heading + (math.pi if leg.back else 0.0)
        distance, bearing = bearing_to(known.pose.x, known.pose.y, heading, leg.x, leg.y)
        if self._has_arrived(leg, distance, bearing, last):
            self._legs = self._legs[1:]
            self._begin_leg()
            return self.request(known)
        return self._steer(known, leg, distance, bearing)

    def _has_arrived(self, leg: Leg, distance: float, bearing: float, last: bool) -> bool:
        if distance < (NEAR if last else self._near_enough(leg)):
            return True
        # Past the point: it was near, and is getting farther, to the side or behind.
        was_near = self._nearest < (2.0 * NEAR if last else BY_THE_WAY)
        passed = was_near and distance > self._nearest + 0.01 and abs(bearing) > 1.0
        self._nearest = min(self._nearest, distance)
        return passed

    def _near_enough(self, leg: Leg) -> float:
        """Return how near (m) to a leg's end the next one may begin."""
        near, ahead = min(PASSED, NEAR + max(0.0, leg.room)), max(0.0, self._legs[1].room)
        return near if ahead > TIGHT else min(near, EXACT + EXACT_SHARE * ahead)

    def _steer(self, known: Knowledge, leg: Leg, distance: float, bearing: float) -> Request:
        is_tight = leg.room < TIGHT and not self._is_turned
        if self._turn is None and abs(bearing) > (TURN_FIRST_IN_TIGHT if is_tight else TURN_FIRST):
            self._turn = TurnTowards(0.0, known.robot.limits.turn_rate)
        if self._turn is not None:
            if abs(bearing) < math.pi / 2:
                self._is_turned = True  # from here on it is the shorter way, whichever it was
            self._turn.heading = wrap(known.pose.heading + self._angle(leg, bearing))
            request = self._turn.request(known)
            if request is not None and abs(bearing) > math.radians(2.5 if is_tight else 4.0):
                return request._replace(range_blocked=known.loaded, feels=self._feels)
            self._turn = None
        self._is_turned = True
        most = min(self._most, self._fastest(known, leg))
        stops = len(self._legs) == 1 or self._legs[1].room <= TIGHT
        speed = towards(distance if stops else distance + 0.2, most, 0.6 * known.robot.limits.deceleration)
        speed *= max(0.25, math.cos(min(1.5, 1.5 * abs(bearing))))
        return Request(
            -speed if leg.back else speed,
            HEADING_GAIN * bearing,
            feels=self._feels,
            range_blocked=known.loaded,
        )

    def _fastest(self, known: Knowledge, leg: Leg) -> float:
        """Return how fast (m/s) a leg may be driven with the room that it leaves; once held back, at a creep."""
        self._creeps = self._creeps or known.held_back_for > SOON
        creep = min(CREEP, known.robot.limits.contact_speed, self._planned)
        if self._creeps:
            return creep
        limits, doubt = known.robot.limits, known.filter.position_doubt
        spare = leg.room + room_due(limits, doubt, self._planned).worst - room_due(limits, doubt).worst
        return creep + FASTER * max(0.0, spare)

    def _angle(self, leg: Leg, bearing: float) -> float:
        """Return the angle (rad) to turn by next: to the bearing, the way round that the leg says is free."""
        if self._is_turned or leg.turn * bearing > 0.0 or abs(leg.turn) < math.pi:
            return bearing
        return math.copysign(LONG_WAY, leg.turn)
