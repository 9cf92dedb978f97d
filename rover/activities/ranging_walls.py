"""Making the position surer along both axes: by known walls, from where each can be ranged to."""

import math
from collections.abc import Mapping
from typing import Any, NamedTuple

from rover.activities.activity import Activity, Knowledge
from rover.activities.fixing import NO_RANGE_FINDER, NO_WALL, Ranging
from rover.activities.places import clearance_from, stands_in_jaws
from rover.activities.travelling import RouteFollower
from rover.behaviour.vocabulary import ActivitySpec, Parameter, Progress
from rover.devices.range.keys import RangeKeys
from rover.estimate.fixes import facing, surer_by_wall, wall_in_view
from rover.estimate.looked_at import is_hidden
from rover.geometry import XY, Pose
from rover.kinds import Number
from rover.motion.goal import Goal
from rover.motion.request import STILL, Request
from rover.quantities import wrap

ECHOES = 6
"""So many echoes make a fix."""
FARTHEST = 3.0
"""No place farther away (m) is gone to for a fix: the way there costs time, and position as well."""
PLACES_A_STEP = 3
"""So many places are looked at in one step."""
WORTH = 0.01
"""A fix is made where it makes the position surer by so much (m) ..."""
TURNING_COST = 0.7
"""... and first the one that does so most for its way, where turning there counts as so much way (m)."""
MOST_FIXES = 4
"""So many fixes are tried at most."""
SAME_PLACE, SAME_HEADING = 0.25, math.radians(20.0)
"""Nearer than this (m, rad) to where it was tried in vain, it is not tried again."""


class Vantage(NamedTuple):
    """Where a wall can be ranged to: pose, square to it, and how much surer the position gets for the way there."""

    pose: Pose
    worth: float


class RangeWalls(Activity):
    """Ranges to the known walls that tell what of the position is not sure, and drives to where that can be done."""

    spec = ActivitySpec(
        "range to known walls, and drive to where that can be done, until the position is as sure as they can make it",
        {"echoes": Parameter(Number(whole=True), f"so many echoes make a fix; default {ECHOES}", positive=True)},
        ("drive", "counts"),  # a robot that hears no walls fails at once, and the behaviour goes on without
    )

    def __init__(self, known: Knowledge, values: Mapping[str, Any]) -> None:
        self._echoes = values.get("echoes", ECHOES)
        self._fixes = 0
        self._in_vain: list[Pose] = []
        self._way: RouteFollower | None = None
        self._ranging: Ranging | None = None
        sensor = known.robot.devices.range
        if sensor is None:
            self.fail(NO_RANGE_FINDER)
        elif known.loaded:
            self.fail("what is held stands before the range finder")
        elif stands_in_jaws(known):
            self.fail("what stands between the open jaws would be pushed along")
        else:
            self._search = VantageSearch(known, sensor, self._echoes, self._in_vain)

    def step(self, known: Knowledge) -> Request:
        """Look for a place, go there, turn, listen, and look for the next."""
        if self._way is not None:
            return self._go(known, self._way)
        if self._ranging is not None:
            return self._listen(known, self._ranging)
        if not self._search.work(known):
            return STILL
        best = self._search.best
        if best is None or self._fixes + len(self._in_vain) >= MOST_FIXES:
            return self.done() if self._fixes else self.fail(NO_WALL)
        self._vantage = best.pose
        goals = [Goal(*best.pose)]
        self._way = RouteFollower(known, lambda _: goals, known.robot.limits.speed)
        return STILL

    def _go(self, known: Knowledge, way: RouteFollower) -> Request:
        request = way.request(known)
        if way.progress != Progress.UNDER_WAY:
            self._way = None
            if way.progress == Progress.DONE:
                self._ranging = Ranging(known, self._vantage.heading, self._echoes)
            else:
                self._look_on(known, is_in_vain=True)
        return request

    def _listen(self, known: Knowledge, ranging: Ranging) -> Request:
        request = ranging.request(known)
        if request is not None:
            return request
        self._ranging = None
        self._look_on(known, is_in_vain=bool(ranging.why))
        return STILL

    def _look_on(self, known: Knowledge, *, is_in_vain: bool) -> None:
        if is_in_vain:
            self._in_vain.append(self._vantage)
        else:
            self._fixes += 1
        self._search = VantageSearch(known, self._search.sensor, self._echoes, self._in_vain)


class VantageSearch:
    """Looks from where which wall would make the position surest, some places in each step: here, and the lookouts.

    Attributes:
        sensor: the range finder that faces the walls.
        best: what is best so far, None where no fix is worth it.
    """

    def __init__(self, known: Knowledge, sensor: RangeKeys, echoes: int, in_vain: list[Pose]) -> None:
        self.sensor = sensor
        self.best: Vantage | None = None
        self._echoes, self._in_vain = echoes, in_vain
        self._clearance = clearance_from(known, known.pose)
        here = known.pose[:2]
        lookouts = [(one.x, one.y) for one in known.ledger.looked_at.lookouts]
        walls = known.ground.walls
        near = [one for one in lookouts if math.dist(one, here) < FARTHEST and not is_hidden(here, one, walls)]
        self._places: list[XY] = [here, *sorted(near, key=lambda place: math.dist(place, here))]

    def work(self, known: Knowledge) -> bool:
        """Look at some more places; return True once all have been looked at."""
        looked_at, self._places = self._places[:PLACES_A_STEP], self._places[PLACES_A_STEP:]
        for place in looked_at:
            self._look(known, place)
        return not self._places

    def _look(self, known: Knowledge, place: XY) -> None:
        mount, half_beam, walls = self.sensor.mount, 0.5 * self.sensor.beam, known.ground.walls
        for wall in walls:
            pose = Pose(*place, facing(Pose(*place, 0.0), *wall))
            view = wall_in_view(pose, mount, half_beam, walls, known.things)
            if view is None:
                continue
            gain = surer_by_wall(known.filter, pose, view, mount, self._echoes)
            worth = gain / (TURNING_COST + math.dist(place, known.pose[:2]))
            is_better = self.best is None or worth > self.best.worth
            if gain > WORTH and is_better and self._is_new(pose) and self._may_stand(known, pose):
                self.best = Vantage(pose, worth)

    def _is_new(self, pose: Pose) -> bool:
        return not any(
            math.dist(pose[:2], one[:2]) < SAME_PLACE and abs(wrap(pose.heading - one.heading)) < SAME_HEADING
            for one in self._in_vain
        )

    def _may_stand(self, known: Knowledge, pose: Pose) -> bool:
        return pose[:2] == known.pose[:2] or self._clearance.is_free(pose)
