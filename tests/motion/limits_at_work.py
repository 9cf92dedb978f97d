"""Limits at work, step by step."""

import math

from rover.files.errand import USUAL_WIDTH
from rover.geometry import Pose
from rover.motion.echo import Room
from rover.motion.keep_clear import Whereabouts
from rover.motion.limits import InTheWay, Limits, Missing, Situation
from rover.motion.request import Request

STEP = 0.02
MIDDLE = Pose(3.0, 2.0, 0.0)
AHEAD = Request(0.4)


class Driving:
    """Limits at work, step by step, with the pose and the gap that the test sets."""

    def __init__(self, robot, field, explored=None):
        self.limits = Limits(robot, field, USUAL_WIDTH, explored)
        self.now = 0.0
        self.loaded = False

    def step(
        self, request, *, pose=MIDDLE, gap=math.inf, room=None, contacts=(), standstill="", slowly="", is_stalled=False
    ):
        self.now = round(self.now + STEP, 9)
        in_the_way = InTheWay(room or Room(gap), contacts, is_stalled)
        situation = Situation(
            round(self.now * 1e9), STEP, Whereabouts(pose, loaded=self.loaded), in_the_way, Missing(standstill, slowly)
        )
        return self.limits.apply(request, situation)

    def steps(self, request, seconds, **situation):
        return [self.step(request, **situation) for _ in range(round(seconds / STEP))]
