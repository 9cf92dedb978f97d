"""Getting near a target: straight on where that is free, else to where body and open jaws fit; a part of closing in."""

import math
from collections.abc import Sequence

from rover.activities.activity import Knowledge
from rover.activities.approaching import Approaches, can_close_in, is_against_wall, tried, viewpoints
from rover.activities.fixing import SurerPosition
from rover.activities.travelling import RouteFollower
from rover.behaviour.vocabulary import Progress
from rover.motion.goal import Goal
from rover.motion.keep_clear import CREEP
from rover.motion.request import FEEL, STILL, Request
from rover.vision.targets import Remembered

FAR = 0.6
"""Farther than this (m) before the jaws the robot goes by a way; nearer it closes in by sight."""
SPEEDS = (math.inf, CREEP)
"""The last straight way is driven at a creep (m/s) only where there is no room for more."""
NO_DIRECTION = "cannot be reached: there is no direction from which body and open jaws fit"


class DrawNear:
    """From wherever the robot is to where the target stands before it, near enough to close in on it by sight.

    Where no direction is free by what is known from afar, it is looked at from nearer, the position is made surer, and
    what was only heard is doubted, before it is felt for, or said to be out of reach.

    Attributes:
        why: why it failed; the target then knows it too.
        most: how fast (m/s) the rest may be driven.
    """

    def __init__(self) -> None:
        self.progress = Progress.UNDER_WAY
        self.why = ""
        self.most = math.inf
        self._approaches: Approaches | None = None
        self._way: RouteFollower | None = None
        self._surer = SurerPosition()
        self._is_viewed = self._is_last = self._feels = False

    def request(self, known: Knowledge, target: Remembered) -> Request:
        """Return what is wanted; ``progress`` tells when the target is near, or cannot be reached."""
        if self._way is not None:
            return self._go_on(known, target, self._way)
        if (request := self._surer.request(known)) is not None:
            return request
        if self._approaches is not None:
            return self._approach(known, target, self._approaches)
        distance = target.distance(known.pose.x, known.pose.y)
        heading = math.atan2(target.y - known.pose.y, target.x - known.pose.x)
        is_worse = tried(known, target, heading) or is_against_wall(known, target, heading)
        if not is_worse and can_close_in(known, target, CREEP):
            return self._go_straight(known, target, distance, heading)
        self._approaches = Approaches(known, target, SPEEDS)
        return STILL

    def _go_straight(self, known: Knowledge, target: Remembered, distance: float, heading: float) -> Request:
        far = known.robot.body.gripper_reach + FAR
        if distance <= far:
            return self._arrive(known, target)
        away = 0.85 * far
        x, y = target.x - away * math.cos(heading), target.y - away * math.sin(heading)
        return self._go(known, target, [Goal(x, y)], is_last=True)

    def _approach(self, known: Knowledge, target: Remembered, approaches: Approaches) -> Request:
        approaches.work(known)
        if not approaches.is_over:
            return STILL
        self._approaches = None
        if approaches.goals:
            return self._go(known, target, approaches.goals, is_last=True)
        far = known.robot.body.gripper_reach + FAR
        if not self._is_viewed and target.distance(known.pose.x, known.pose.y) > far:
            self._is_viewed = True
            if goals := viewpoints(known, target):
                return self._go(known, target, goals, is_last=False)
        if self._surer.begin(known):
            return STILL
        if known.ledger.obstacles.forget_heard():
            self._approaches = Approaches(known, target, SPEEDS)
        elif not self._feels:
            self._feels = True
            self._approaches = Approaches(known, target, (FEEL,))
        else:
            return self._fail(target, NO_DIRECTION)
        return STILL

    def _go(self, known: Knowledge, target: Remembered, goals: Sequence[Goal], *, is_last: bool) -> Request:
        self._is_last = is_last
        self._way = RouteFollower(known, lambda _: goals, known.robot.limits.speed)
        return self._go_on(known, target, self._way)

    def _go_on(self, known: Knowledge, target: Remembered, way: RouteFollower) -> Request:
        request = way.request(known)
        if way.progress == Progress.FAILED:
            return self._fail(target, f"cannot be reached: {way.why}")
        if way.progress == Progress.DONE:
            self._way = None
            if self._is_last:
                return self._arrive(known, target)
        return request

    def _arrive(self, known: Knowledge, target: Remembered) -> Request:
        self.progress = Progress.DONE
        slowest = FEEL if self._feels else CREEP
        self.most = next((speed for speed in SPEEDS if can_close_in(known, target, speed)), slowest)
        return STILL

    def _fail(self, target: Remembered, why: str) -> Request:
        self.progress, self.why, target.barred = Progress.FAILED, why, why
        return STILL
