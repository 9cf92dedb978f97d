"""Going to a place by a way that is free for the whole body: the part that other activities have, and the activity."""

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from rover.activities.activity import Activity, Knowledge
from rover.activities.driving import HELD, SPEED
from rover.activities.fixing import SurerPosition
from rover.activities.getting_free import AWAY, AWAY_FROM_ECHO, GettingFree, backing_off, edging_away, pieces_from
from rover.activities.legs_driven import LegsDriven
from rover.activities.meeting import Meeting
from rover.activities.places import (
    AS_USUAL,
    Manner,
    PlaceXYH,
    clearance_from,
    heard_standing,
    place_of,
    things_about,
)
from rover.activities.turn_or_leave import TurnOrLeave
from rover.behaviour.vocabulary import ActivitySpec, Parameter, Progress
from rover.geometry import XY, Pose
from rover.kinds import PlaceName
from rover.motion.free_space import Thing
from rover.motion.goal import Goal
from rover.motion.keep_clear import CREEP
from rover.motion.planner import WaySearch, has_room
from rover.motion.request import FEEL, STILL, Request

NODES_A_SECOND = 2000
"""A search for a way goes on by so many nodes in a second, whatever time they take: a replay finds the same."""
BESIDE, AROUND = (0.1, 0.2, 0.3), 8
"""Where something stands at a place, so far (m) from it is near enough, in so many directions."""
LOOK_EVERY = 0.2
"""So often (s) the way is looked at for things that were not there when it was planned ..."""
ANOTHER = 0.03
"""... or were farther away (m) than this."""


GoalsNow = Callable[[Knowledge], Sequence[Goal]]
"""Returns where a way may end, by what is known now: what stands at a place is seen better from nearer."""


class RouteFollower:
    """Driving to one of some goals by a way that keeps the outline clear; the part of other activities that travels.

    What is met on the way is entered into the ledger; then another way is looked for.

    Attributes:
        why: why it failed.
    """

    MOST_JAMS = 6

    def __init__(self, known: Knowledge, goals: GoalsNow, most: float) -> None:
        self.progress = Progress.UNDER_WAY
        self.why = ""
        self._goals, self._most = goals, most
        self._jams = 0
        self._meeting = Meeting()
        self._manner = AS_USUAL
        self._is_last = False
        self._surer = SurerPosition()
        self._legs: LegsDriven | None = None
        self._search: WaySearch | None = None
        self._free: GettingFree | None = None
        if pieces := backing_off(known):
            self._free = GettingFree(known, pieces)
        else:
            self._plan(known)

    def _plan(self, known: Knowledge) -> None:
        clearance = clearance_from(known, known.pose, self._manner)
        self._prefers_known = clearance.prefers_known
        self._legs, self._watch = None, WayWatch(known, self._manner)
        self._search = WaySearch(clearance, known.pose, self._goals(known), known.robot.body.width)

    def _fail(self, why: str) -> Request:
        self.progress, self.why = Progress.FAILED, why
        return STILL

    def is_cut_off(self, place: XY) -> bool:
        """Tell of a place, where no way was found, whether it is known that none leads there either."""
        return self._search is not None and self._search.is_cut_off(place)

    def request(self, known: Knowledge) -> Request:
        """Return what is wanted; ``progress`` tells when a goal is reached or none is to be reached."""
        if self.progress == Progress.FAILED:
            return STILL
        if self._free is not None:
            return self._get_free(known, self._free)
        if self._search is not None:
            return self._search_on(known, self._search)
        if self._legs is None:
            return self._make_surer(known)
        if known.is_stalled or known.held_back_for > HELD:
            return self._jammed(known, self._legs)
        return self._follow(known, self._legs)

    def _make_surer(self, known: Knowledge) -> Request:
        request = self._surer.request(known)
        if request is None:
            self._plan(known)
            return STILL
        return request

    def _search_on(self, known: Knowledge, search: WaySearch) -> Request:
        search.work(max(1, round(NODES_A_SECOND / known.robot.loop)))
        if not search.is_over:
            return STILL
        if search.legs is None:
            return self._without_way(known)
        self._search = None
        self._legs = LegsDriven(search.legs, self._most, self._manner.speed)
        return self._follow(known, self._legs)

    def _without_way(self, known: Knowledge) -> Request:
        """Try what may yet show a way: ground that nobody knows, a surer position, a creep, and doubt of what was only
        heard, or seen from afar.

        The last is to feel the way: a load is not given up as long as there may be one, who hears no walls has no surer
        position to hope for, and who stands too near to something to turn round has to get off it.
        """
        if self._prefers_known:
            self._manner = self._manner._replace(anywhere=True)
            self._plan(known)
            return STILL
        if self._surer.begin(known):
            self._search = None
            return STILL
        is_cramped = clearance_from(known, known.pose, self._manner).is_cramped
        if self._manner.speed > CREEP:
            self._manner = self._manner._replace(speed=CREEP)
        elif not self._manner.without_heard and (known.ledger.obstacles.forget_heard() or heard_standing(known)):
            self._manner = self._manner._replace(without_heard=True)  # held back by it again, it is there
        elif not self._manner.without_vague and any(one.is_vague for one in known.targets.others()):
            self._manner = self._manner._replace(without_vague=True)  # seen better from nearer
        elif self._manner.speed > FEEL and (known.loaded or known.robot.devices.range is None or is_cramped):
            self._manner = self._manner._replace(speed=FEEL)
        elif is_cramped and self._jams < self.MOST_JAMS and (pieces := edging_away(known)):
            self._jams += 1
            self._free, self._is_last = GettingFree(known, pieces, feels=True), False
            return STILL
        else:
            return self._fail("found no way round what stands in between")
        self._plan(known)
        return STILL

    def _follow(self, known: Knowledge, legs: LegsDriven) -> Request:
        if self._watch.is_barred(known, legs):
            self._plan(known)
            return STILL
        if legs.comes_unsure_to_a_tight_leg(known) and self._surer.begin(known):
            self._legs = None
            return STILL
        request = legs.request(known)
        if request is None:
            self.progress = Progress.DONE
            return STILL
        return request

    def _jammed(self, known: Knowledge, legs: LegsDriven) -> Request:
        """Enter what was met, and begin to get free of it."""
        self._jams += 1
        if self._jams > self.MOST_JAMS:
            return self._fail("met one obstacle after another")
        is_felt, walls = self._manner.speed <= FEEL, self._meeting.walls
        is_surer = self._meeting.jam(known, legs, is_felt=is_felt)
        is_unsure_of_wall = known.loaded and self._meeting.walls > walls  # and can range to none with a load
        self._is_last = not is_surer and (is_felt or is_unsure_of_wall)
        far = AWAY_FROM_ECHO if known.obstacle else AWAY
        self._free = GettingFree(known, pieces_from(known, legs.motion, far))
        return STILL

    def _get_free(self, known: Knowledge, free: GettingFree) -> Request:
        request = free.request(known)
        if request is not None:
            return request
        if free.feels:
            self._manner = AS_USUAL
        self._free = None
        if self._is_last:
            return self._fail("touched a wall, and knows no better where it stands")
        if self._meeting.walls and self._surer.begin(known):
            self._legs = None
        else:
            self._plan(known)
        return STILL


class WayWatch:
    """Looks every now and then whether something has come to be known in a way that was planned now.

    Args:
        known: what is known.
        manner: in which it was planned.
    """

    def __init__(self, known: Knowledge, manner: Manner) -> None:
        self._manner = manner
        self._things = things_about(known, manner)
        self._seconds = 0.0

    def is_barred(self, known: Knowledge, legs: LegsDriven) -> bool:
        """Tell whether in the legs stands what was not known before, or stood elsewhere."""
        self._seconds += known.seconds
        if self._seconds < LOOK_EVERY:
            return False
        self._seconds = 0.0
        half_width = known.space.outlines[known.loaded].half_width
        return any(
            legs.distance(known.pose, (one.x, one.y)) < half_width + one.radius + 0.5 * one.room
            and not self._was_known(one)
            for one in things_about(known, self._manner)
        )

    def _was_known(self, thing: Thing) -> bool:
        return any(math.hypot(one.x - thing.x, one.y - thing.y) < ANOTHER for one in self._things)


def _goals_at(known: Knowledge, place: PlaceXYH) -> list[Goal]:
    """Return a place to drive to; where something stands, and any heading will do, the nearest places beside it."""
    goal, clearance = Goal(*place), clearance_from(known, known.pose)
    if goal.heading is not None:
        return [goal]
    return _nearest(goal, lambda one: has_room(clearance, one)) or [goal]


def _lookouts_at(known: Knowledge, place: PlaceXYH) -> list[Goal]:
    """Return a place to look round from, or the nearest places where the robot can turn right round."""
    clearance = clearance_from(known, known.pose, Manner(CREEP))

    def is_wide(goal: Goal) -> bool:
        ahead = Pose(goal.x, goal.y, 0.0)
        return clearance.can_turn(ahead, math.pi) and clearance.can_turn(ahead, -math.pi)

    return _nearest(Goal(*place), is_wide) or _goals_at(known, place)


def _nearest(goal: Goal, is_good: Callable[[Goal], bool]) -> list[Goal]:
    """Return a goal if it is good, else the nearest ones round it that are."""
    if is_good(goal):
        return [goal]
    for away in BESIDE:
        turns = (index * math.tau / AROUND for index in range(AROUND))
        around = [Goal(goal.x + away * math.cos(turn), goal.y + away * math.sin(turn)) for turn in turns]
        if good := [one for one in around if is_good(one)]:
            return good
    return []


MOST_WAYS = 2
"""Jammed in the turn at the end, it goes there another way, until it has gone so many."""


class DriveTo(Activity):
    """Drives to a place round what stands in the way, and turns to the place's heading if it has one."""

    spec = ActivitySpec(
        "drive to a place by a way that is free for the whole body, round things, filled slots and walls",
        {
            "place": Parameter(PlaceName(), "where to", required=True),
            "speed": Parameter(SPEED, "at most this fast; default: the robot's limit", positive=True),
        },
        ("drive", "counts"),
    )

    def __init__(self, known: Knowledge, values: Mapping[str, Any]) -> None:
        place = place_of(known, values["place"])
        self._way: RouteFollower | None = None
        self._turn: TurnOrLeave | None = None
        self._ways = 1
        self._is_lookout = values["place"] == "field.next_lookout"
        if place is None:
            self.fail(f"there is no {values['place']} now")
            return
        self._place, self._speed = place, values.get("speed", known.robot.limits.speed)
        self._set_out(known)

    def _set_out(self, known: Knowledge) -> Request:
        self._way = RouteFollower(known, self._goals, self._speed)
        if self._place[2] is not None:
            self._turn = TurnOrLeave(self._place[2], known.robot.limits.turn_rate)
        return STILL

    def step(self, known: Knowledge) -> Request:
        """Go on along the way, then turn."""
        if self._way is not None:
            request = self._way.request(known)
            if self._way.progress == Progress.DONE:
                self._way = None
            elif self._way.progress == Progress.FAILED:
                self.fail(self._way.why)
                if self._is_lookout:
                    known.ledger.looked_at.cannot_reach(self._way.is_cut_off)
            return request
        return self.done() if self._turn is None else self._turn_there(known, self._turn)

    def _goals(self, known: Knowledge) -> Sequence[Goal]:
        return _lookouts_at(known, self._place) if self._is_lookout else _goals_at(known, self._place)

    def _turn_there(self, known: Knowledge, turn: TurnOrLeave) -> Request:
        request = turn.request(known)
        if request is not None:
            return request
        if not turn.why:
            return self.done()
        if self._ways >= MOST_WAYS:
            return self.fail(turn.why)
        self._ways += 1
        return self._set_out(known)
