"""The legs of a way: each a turn on the spot and a straight line; cutting a way short to as few as are free."""

import math
from collections.abc import Sequence
from itertools import accumulate, pairwise
from typing import NamedTuple

from rover.geometry import XY, Pose
from rover.motion.disc_ways import UNKNOWN_COST
from rover.motion.free_space import Clearance
from rover.motion.goal import Goal
from rover.quantities import wrap

COMFORT = 0.08
"""A way is cut short where that leaves as much room (m) beyond what is due, or as much as it has now ..."""
DEARER = 0.05
"""... and costs no more than this (m) above it: it may lead over known ground, where nothing is heard ahead."""


class Leg(NamedTuple):
    """A turn on the spot, then a straight way to a place (m).

    Attributes:
        back: it is driven backwards.
        turn: the angle (rad) to turn by first; its sign tells which way round.
        room: the least room (m) beyond what is due on the way.
    """

    x: float
    y: float
    back: bool
    turn: float
    room: float


def leg_to(clearance: Clearance, start: Pose, place: XY) -> Leg | None:
    """Return the turn and the straight way ahead to a place, None where that is not free."""
    way = math.hypot(place[0] - start.x, place[1] - start.y)
    if way < 1e-6:
        return Leg(*place, False, 0.0, clearance.at(start))
    heading = math.atan2(place[1] - start.y, place[0] - start.x)
    turn = free_turn(clearance, start, heading)
    if turn is None:
        return None
    room = clearance.along(start._replace(heading=heading), way)
    return None if room is None else Leg(*place, False, turn, room)


def free_turn(clearance: Clearance, pose: Pose, heading: float) -> float | None:
    """Return the angle (rad) to turn by to a heading, the shorter way round if that is free; None: neither is."""
    angle = wrap(heading - pose.heading)
    if clearance.can_turn(pose, angle):
        return angle
    other = angle - math.copysign(math.tau, angle)
    return other if clearance.can_turn(pose, other) else None


def can_end(clearance: Clearance, start: Pose, leg: Leg, goal: Goal) -> bool:
    """Tell whether a leg from a pose ends at a goal: the goal's heading can be turned to there."""
    if goal.heading is None:
        return True
    return free_turn(clearance, Pose(goal.x, goal.y, start.heading + leg.turn), goal.heading) is not None


class CutShort:
    """Makes legs of a way over the lattice: each as long as a straight one ahead is free, and leaves room enough.

    Args:
        clearance: what keeps the outline clear.
        poses: of the way, each a step ahead or back, or a turn on the spot, after the one before.
        rooms: the room (m) beyond what is due at each pose but the first.
        goal: where the way ends.

    Attributes:
        legs: so far.
    """

    def __init__(self, clearance: Clearance, poses: Sequence[Pose], rooms: Sequence[float], goal: Goal) -> None:
        self._clearance, self._poses, self._rooms, self._goal = clearance, poses, rooms, goal
        self.legs: list[Leg] = []
        self._costs = list(accumulate((self._cost_of_step(*ends) for ends in pairwise(poses)), initial=0.0))
        self._at, self._index = poses[0], 0
        self._free: tuple[int, Leg] | None = None
        self._near, self._far = 0, len(poses)

    def work(self) -> bool:
        """Look at one leg more; tell whether all is done.

        The longest one is found by halving: between a pose to which a leg is free and one to which none is.
        """
        last = len(self._poses) - 1
        if self._index >= last:
            return True
        probe = last if self._far > last else (self._near + self._far) // 2
        leg = self._leg(probe)
        if leg is None:
            self._far = probe
        else:
            self._near, self._free = probe, (probe, leg)
        if self._near == last or self._far - self._near <= 1:
            self._take()
        return self._index >= last

    def _leg(self, index: int) -> Leg | None:
        """Return the leg straight ahead to a pose of the way, None where it is not free or leaves too little room."""
        pose, last = self._poses[index], len(self._poses) - 1
        if index <= self._index + 1 or (index < last and not self._may_turn_at(index)):
            return None
        if math.dist(pose[:2], self._at[:2]) < 1e-6:
            return None
        leg = leg_to(self._clearance, self._at, (pose.x, pose.y))
        if leg is None or leg.room < min(COMFORT, *self._rooms[self._index : index]) - 1e-9:
            return None
        if self._cost_straight(self._at, pose) > self._costs[index] - self._costs[self._index] + DEARER:
            return None
        return leg if index < last or can_end(self._clearance, self._at, leg, self._goal) else None

    def _may_turn_at(self, index: int) -> bool:
        """Tell whether a leg may end at a pose, with a turn there: where there is room enough, or the way has one."""
        return self._rooms[index - 1] >= COMFORT or math.dist(self._poses[index + 1][:2], self._poses[index][:2]) < 1e-6

    def _cost_of_step(self, here: Pose, there: Pose) -> float:
        """Return the way (m) of a step of the way, as many times as much as its ground costs more."""
        return math.dist(here[:2], there[:2]) * (1.0 + UNKNOWN_COST * self._clearance.unknown(there))

    def _cost_straight(self, here: Pose, there: Pose) -> float:
        """Return the same of the straight way from one pose to another."""
        return math.dist(here[:2], there[:2]) + UNKNOWN_COST * self._clearance.unknown_way(here[:2], there[:2])

    def _take(self) -> None:
        leg, index = self._single() if self._free is None else (self._free[1], self._free[0])
        if leg is not None:
            self.legs.append(leg)
            self._at = Pose(leg.x, leg.y, wrap(self._at.heading + leg.turn))
        self._index = self._near = index
        self._free, self._far = None, len(self._poses)

    def _single(self) -> tuple[Leg | None, int]:
        """Return the leg of the lattice's next step and all that follow it the same way; None: it only turns."""
        poses, at, index = self._poses, self._at, self._index
        there = poses[index + 1]
        if math.hypot(there.x - at.x, there.y - at.y) < 1e-6:
            return None, index + 1
        towards = math.atan2(there.y - at.y, there.x - at.x)
        end = index + 1
        while end + 1 < len(poses) and _goes_on(poses[end], poses[end + 1], towards):
            end += 1
        back = abs(wrap(towards - there.heading)) > 0.5 * math.pi
        heading = wrap(towards + math.pi) if back else towards
        turn, turned = wrap(heading - at.heading), self._turned(index)
        if turned * turn < 0.0 and abs(turned) > math.pi:
            turn += math.copysign(math.tau, turned)
        x, y, _ = poses[end]
        way = math.hypot(x - at.x, y - at.y)
        room = self._clearance.along(Pose(at.x, at.y, heading), -way if back else way)
        return Leg(x, y, back, turn, 0.0 if room is None else room), end

    def _turned(self, index: int) -> float:
        """Return the angle (rad) by which the way turned on the spot before a step, left positive."""
        here, total = self._poses[index], 0.0
        while index > 0 and math.dist(self._poses[index - 1][:2], here[:2]) < 1e-6:
            total += wrap(self._poses[index].heading - self._poses[index - 1].heading)
            index -= 1
        return total


def _goes_on(here: Pose, there: Pose, towards: float) -> bool:
    dx, dy = there.x - here.x, there.y - here.y
    return math.hypot(dx, dy) > 1e-6 and abs(wrap(math.atan2(dy, dx) - towards)) < 1e-6
