"""Activities that look: the sweep, putting a target off, noting what is seen."""

import math
from collections.abc import Mapping
from typing import Any

from rover import quantities
from rover.activities.activity import Activity, Deed, Knowledge
from rover.activities.places import clearance_to_turn
from rover.activities.turn_or_leave import TurnOrLeave
from rover.behaviour.vocabulary import ActivitySpec, Parameter
from rover.kinds import Number
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

    def __init__(self, known: Knowledge, values: Mapping[str, Any]) -> None:
        camera = known.robot.devices.camera
        assert camera is not None
        self._rate = values.get("rate", known.robot.limits.turn_rate)
        self._step = STEP_SHARE * camera.field_of_view
        self._looks = self._all_round = math.ceil(2.0 * math.pi / self._step)
        self._has_turned_back = False
        self._look_seconds = FRAMES_A_LOOK / camera.rate + camera.latency
        self._turn: TurnOrLeave | None = None
        self._seconds = 0.0

    def step(self, known: Knowledge) -> Request:
        """Look, or turn to the next view."""
        if self._turn is None:
            return self._look(known)
        request = self._turn.request(known)
        if request is not None:
            return request
        if self._turn.why:
            self._turn_back()
        self._turn, self._seconds = None, 0.0
        return STILL

    def _turn_back(self) -> None:
        """Look round the other way, since something stands in the way of the turn; stood in the way there too: end."""
        if self._has_turned_back:
            self.done()
        self._has_turned_back, self._step, self._looks = True, -self._step, self._all_round

    def _look(self, known: Knowledge) -> Request:
        self._seconds += known.seconds
        if self._seconds >= self._look_seconds:
            self._looks -= 1
            if self._looks <= 0:
                self.done()
            else:
                self._look_out(known)
            self._turn = TurnOrLeave(wrap(known.pose.heading + self._step), self._rate)
        return STILL

    def _look_out(self, known: Knowledge) -> None:
        """Turn back before something that stands in the way of the turn; in the way of both turns, end."""
        clearance = clearance_to_turn(known)
        if not clearance.can_turn(known.pose, self._step):
            self._turn_back()
            if not clearance.can_turn(known.pose, self._step):
                self.done()


class SkipTarget(Deed):
    """Puts the present target off: it is left where it is, and not chosen again."""

    spec = ActivitySpec("put the present target off: leave it where it is", can_fail=False)

    def __init__(self, known: Knowledge, values: Mapping[str, Any]) -> None:
        chosen = known.targets.chosen
        if chosen is not None:
            known.ledger.leave(chosen.kind, chosen.x, chosen.y, chosen.barred or known.ledger.stories.why_left())
            known.targets.forget(chosen)


class RecallPutOff(Deed):
    """Takes up again what was put off: it is remembered where it was left, and may be chosen."""

    spec = ActivitySpec("take up again every object that was put off", can_fail=False)

    def __init__(self, known: Knowledge, values: Mapping[str, Any]) -> None:
        for one in known.ledger.recall():
            recalled = known.targets.recall(one.kind, one.x, one.y)
            known.ledger.stories.recall(recalled.number, one.kind, one.x, one.y)


class NoteSeen(Deed):
    """Writes down what is known of about the field."""

    spec = ActivitySpec("note every object that is known of, with its position, in the run record", can_fail=False)

    def __init__(self, known: Knowledge, values: Mapping[str, Any]) -> None:
        for one in known.targets.objects:
            if one.known:
                sigma = math.sqrt(max(one.xx, one.yy))
                text = f"{one.kind} seen at x {one.x:.2f} m, y {one.y:.2f} m, give or take {2 * sigma:.2f} m"
                known.note("seen", text)
