"""Activities that look: the sweep, putting a target off, noting what is seen."""

import math
from collections.abc import Mapping
from typing import Any

from rover import quantities
from rover.activities.activity import Activity, Deed, World
from rover.activities.driving import StallWatch, TurnTowards
from rover.behaviour.vocabulary import ActivitySpec, Number, Outcome, Parameter
from rover.errand.ledger import PutOff
from rover.events import GivenUp, Note
from rover.motion.request import STILL, Request
from rover.quantities import wrap

STEP_SHARE = 0.75
"""A step of the sweep is this share of the camera's field of view, so that views overlap."""
FRAMES_A_LOOK = 4


class Sweep(Activity):
    """Looks all round: turn a step, stand and look, turn on. Frames are late and blurred while turning."""

    spec = ActivitySpec(
        "look all round on the spot: turn a step, stand and look, turn on; done after a whole turn",
        {
            "rate": Parameter(
                Number(quantities.TURN_RATE), "turn at most this fast; default: the robot's limit", positive=True
            )
        },
        ("drive", "counts", "camera"),
        can_fail=False,
    )

    def __init__(self, world: World, values: Mapping[str, Any]) -> None:
        self.outcome = Outcome.RUNNING
        camera = world.robot.devices.camera
        assert camera is not None
        self._rate = values.get("rate", world.robot.limits.turn_rate)
        self._step = STEP_SHARE * camera.field_of_view
        self._looks = math.ceil(2.0 * math.pi / self._step)
        self._look_seconds = FRAMES_A_LOOK / camera.rate + camera.latency
        self._turn: TurnTowards | None = None
        self._stall = StallWatch()
        self._seconds = 0.0

    def step(self, world: World) -> Request:
        """Look, or turn to the next view."""
        if self._turn is None:
            return self._look(world)
        request = self._turn.request(world)
        if request is None or self._stall.stalled(world, request):
            self._turn, self._seconds = None, 0.0
            return STILL
        return request

    def _look(self, world: World) -> Request:
        self._seconds += world.seconds
        if self._seconds >= self._look_seconds:
            self._looks -= 1
            if self._looks <= 0:
                self.outcome = Outcome.DONE
            self._turn = TurnTowards(wrap(world.pose.heading + self._step), self._rate)
        return STILL


class SkipTarget(Deed):
    """Puts the present target off: it is left where it is, and not chosen again."""

    spec = ActivitySpec("put the present target off: leave it where it is", can_fail=False)

    def __init__(self, world: World, values: Mapping[str, Any]) -> None:
        chosen = world.targets.chosen
        if chosen is not None:
            world.book.put_off.append(PutOff(chosen.kind, chosen.x, chosen.y))
            world.targets.forget(chosen)
            world.events.append(GivenUp(chosen.kind, chosen.x, chosen.y, "put off"))


class RecallPutOff(Deed):
    """Takes up again what was put off: it is remembered where it was left, and may be chosen."""

    spec = ActivitySpec("take up again every object that was put off", can_fail=False)

    def __init__(self, world: World, values: Mapping[str, Any]) -> None:
        for one in world.book.put_off:
            world.targets.recall(one.kind, one.x, one.y)
        world.book.put_off.clear()


class NoteSeen(Deed):
    """Writes down what is known of about the field."""

    spec = ActivitySpec("note every object that is known of, with its position, in the run record", can_fail=False)

    def __init__(self, world: World, values: Mapping[str, Any]) -> None:
        for one in world.targets.objects:
            if one.known:
                sigma = math.sqrt(max(one.xx, one.yy))
                text = f"{one.kind} seen at x {one.x:.2f} m, y {one.y:.2f} m, give or take {2 * sigma:.2f} m"
                world.events.append(Note("seen", text))
