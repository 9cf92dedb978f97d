"""From where an object can be fetched: directions in which body and open jaws fit, by what each would cost."""

import math
from collections.abc import Iterator, Sequence

from rover.activities.activity import Knowledge
from rover.activities.places import Manner, clearance_beside, clearance_from
from rover.devices.jaws import jaws_size
from rover.geometry import Pose, cross
from rover.motion.free_space import Clearance
from rover.motion.goal import Goal
from rover.motion.keep_clear import CREEP, LEAST_WAY
from rover.motion.legs import leg_to
from rover.quantities import wrap
from rover.vision.targets import Remembered

DIRECTIONS, FINER = 16, 3
"""Directions that are looked at first; where none of them is free, those between them: so many times as many in all."""
DIRECTIONS_A_STEP = 2
"""So many of them are looked at in one step."""
RUNS = (0.5, 0.35, 0.25)
"""Straight runs (m) to the object, the longest that is free: it is looked at, and centred on, on the way."""
BESIDE_SIGHT = 0.05
"""A run begins where the camera sees the object, and so much (m) farther off."""
JAWS_PLAY = (0.009, 0.004)
"""How far from the jaws' middle what they close on stood, along and across (m, standard deviations).

Along, as far as the last straight leg is wrong: the camera's distance where it loses sight (0.6 deg of pitch at 25 cm:
7 mm), and the roll of the wheels after the ramp. Across, as far as a bearing is wrong there. In 551 grips on 30 drawn
benches: 8.0 and 1.9 mm.
"""
SAME_SLANT, TRIED_COST = math.radians(30.0), 1.0
"""A direction nearer than this (rad) to one that was tried in vain costs as much as so much more way (m) each time."""
GETS_AWAY, AGAINST_COST = 0.12, 1.0
"""What gets away from closing jaws goes so far ahead (m); against a wall it then stands where body and jaws no longer
fit. A direction in which a wall is that near behind the object costs as much as so much more way (m)."""
NEIGHBOUR = 0.2
"""Objects nearer to each other than this (m) are neighbours."""
SAME_PLACE = 0.25
"""Tries within so far (m) were for the same object."""


def can_close_in(known: Knowledge, target: Remembered, speed: float) -> bool:
    """Tell whether the robot can turn to an object and drive straight up to it from where it is, at a speed (m/s)."""
    start, reach = known.pose, known.robot.body.gripper_reach
    distance = target.distance(start.x, start.y)
    if distance <= reach:
        return False
    heading = math.atan2(target.y - start.y, target.x - start.x)
    way = distance - reach
    last = min(way, runs(known)[0])
    place = start.x + (way - last) * math.cos(heading), start.y + (way - last) * math.sin(heading)
    if leg_to(clearance_from(known, start, Manner(speed)), start, place) is None:
        return False
    return clearance_beside(known, target, 0.0, speed).along(Pose(*place, heading), last + _run_out(known)) is not None


def short_of(known: Knowledge) -> float:
    """Return how near (m) to the end of the last straight way the jaws surely close on the target."""
    return max(0.0, jaws_size(known.robot.devices.gripper, known.errand.widest).half_depth - 2.0 * JAWS_PLAY[0])


def _run_out(known: Knowledge) -> float:
    """Return how much more (m) than the straight run has to be free."""
    return LEAST_WAY - short_of(known)


def tried(known: Knowledge, target: Remembered, heading: float) -> int:
    """Return how often an object was gone for in vain in a heading (rad) like this one."""
    return sum(
        target.distance(one.x, one.y) < SAME_PLACE and abs(wrap(one.heading - heading)) < SAME_SLANT
        for one in known.ledger.tried
    )


def is_against_wall(known: Knowledge, target: Remembered, heading: float) -> bool:
    """Tell whether a wall stands close behind an object that is gone for in a heading (rad)."""
    behind = target.x + GETS_AWAY * math.cos(heading), target.y + GETS_AWAY * math.sin(heading)
    return any(cross((target.x, target.y), behind, *wall) for wall in known.ground.walls)


class Approaches:
    """Looks at all directions, some in each step. `work` until ``is_over``; then ``goals`` has those that are free.

    With none, those between them are; then all are looked at again with its neighbours left out: these may be nudged.
    What was only heard is left out with them.

    Args:
        known: what the robot knows.
        target: the object.
        speeds: at which the last straight way may be driven (m/s), in the order in which they are tried.
    """

    def __init__(self, known: Knowledge, target: Remembered, speeds: Sequence[float]) -> None:
        self.goals: list[Goal] = []
        self._target = target
        self._ways = _ways(known, target, speeds)
        self._stand, self._last, self._left = next(self._ways)

    @property
    def is_over(self) -> bool:
        """All have been looked at."""
        return not self._left

    def work(self, known: Knowledge) -> None:
        """Look at some more."""
        looked_at, self._left = self._left[:DIRECTIONS_A_STEP], self._left[DIRECTIONS_A_STEP:]
        for heading in looked_at:
            goal = self._goal(known, heading)
            if goal is not None:
                self.goals.append(goal)
        if not self._left and not self.goals and (way := next(self._ways, None)):
            self._stand, self._last, self._left = way

    def _goal(self, known: Knowledge, heading: float) -> Goal | None:
        reach = known.robot.body.gripper_reach
        for way in runs(known):
            x = self._target.x - (reach + way) * math.cos(heading)
            y = self._target.y - (reach + way) * math.sin(heading)
            start = Pose(x, y, heading)
            if self._stand.is_free(start) and self._last.along(start, way + _run_out(known)) is not None:
                cost = TRIED_COST * tried(known, self._target, heading)
                return Goal(x, y, heading, cost + AGAINST_COST * is_against_wall(known, self._target, heading))
        return None


def _ways(
    known: Knowledge, target: Remembered, speeds: Sequence[float]
) -> Iterator[tuple[Clearance, Clearance, list[float]]]:
    """Yield what keeps clear where a run begins, and on it, and the headings (rad) to look at."""
    here = math.atan2(target.y - known.pose.y, target.x - known.pose.x)
    for neighbours in (0.0, NEIGHBOUR):
        stand = clearance_from(known, known.pose, Manner(CREEP, without_heard=neighbours > 0.0))
        for speed in speeds:
            last = clearance_beside(known, target, neighbours, speed)
            for directions in _directions(here):
                yield stand, last, directions


def _directions(first: float) -> tuple[list[float], list[float]]:
    """Return headings (rad) all round, from a first one on, and those between them."""
    count = DIRECTIONS * FINER
    fine = [wrap(first + index * math.tau / count) for index in range(count)]
    return fine[::FINER], [heading for index, heading in enumerate(fine) if index % FINER]


def viewpoints(known: Knowledge, target: Remembered) -> list[Goal]:
    """Return from where an object could be seen better than from here, whether or not it can be fetched from there."""
    away = known.robot.body.gripper_reach + runs(known)[0]
    clearance, place, walls = clearance_from(known, known.pose), (target.x, target.y), known.ground.walls
    headings = (index * math.tau / DIRECTIONS for index in range(DIRECTIONS))
    goals = (Goal(target.x - away * math.cos(one), target.y - away * math.sin(one), one) for one in headings)
    free = (goal for goal in goals if clearance.is_free(Pose(goal.x, goal.y, goal.heading or 0.0)))
    return [goal for goal in free if not any(cross(place, (goal.x, goal.y), *wall) for wall in walls)]


def runs(known: Knowledge) -> Sequence[float]:
    """Return the lengths (m) that the straight run to an object may have, longest first."""
    view = known.targets.view
    least = view.nearest + BESIDE_SIGHT + view.ahead - known.robot.body.gripper_reach
    return [max(way, least) for way in RUNS]
