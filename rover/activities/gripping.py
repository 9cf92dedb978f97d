"""Activities that fetch: close in on the target, close and open the jaws, note what they hold."""

import math
from collections.abc import Mapping
from typing import Any

from rover import quantities
from rover.activities.activity import Activity, Deed, Knowledge
from rover.activities.approaching import JAWS_PLAY, short_of
from rover.activities.drawing_near import DrawNear
from rover.activities.driving import HEADING_GAIN, PATIENCE, Driving
from rover.activities.getting_free import Piece
from rover.activities.meeting import Touch, heard
from rover.activities.places import jaws_place
from rover.activities.touching import fix_by_touch
from rover.activities.turning import TurnTowards
from rover.behaviour.vocabulary import ActivitySpec, Parameter, Progress
from rover.errand.entries import Grip
from rover.geometry import Pose
from rover.kinds import Number
from rover.motion.profile import bearing_to, towards
from rover.motion.request import FEEL, STILL, Request
from rover.quantities import wrap
from rover.vision.targets import Remembered

CENTRED = math.radians(4.0)
SHORT_AFTER = 0.5
"""Held back for so long (s) almost at the end of the last straight way, the target is between the jaws."""
SETTLE = 0.2
"""Seconds after the jaws' travel time before they are taken to have arrived."""


class CloseIn(Driving):
    """Drives up to the target until it stands between the open jaws."""

    spec = ActivitySpec(
        "drive up to the target, centring on it, until it stands between the open jaws",
        {
            "stop_at": Parameter(
                Number(quantities.LENGTH),
                "this near, centring stops and the rest is driven straight; default: where the camera loses it",
            )
        },
        ("drive", "counts", "camera"),
    )

    def __init__(self, known: Knowledge, values: Mapping[str, Any]) -> None:
        reach = known.robot.body.gripper_reach
        self._stop_at = max(values.get("stop_at", 0.0), reach + (0.03 if "stop_at" in values else 0.08))
        self._target = known.targets.chosen
        self._near: DrawNear | None = DrawNear()
        self._most = math.inf
        self._turn: TurnTowards | None = None
        self._last: tuple[float, float, float, float] | None = None
        if self._target is None:
            self.fail("no target is chosen")
            return
        self._place = (self._target.x, self._target.y)

    def step(self, known: Knowledge) -> Request:
        """Go near by a route, then by sight, then straight."""
        before = self._target
        target = self._target = known.targets.chosen if self._last is None else before
        if target is not before:  # another one is clearly better
            self._near, self._turn = DrawNear(), None
        if target is None:
            known.ledger.missed(self._place)
            return self.fail("the target is gone")
        self._place = (target.x, target.y)
        if self._near is not None:
            return self._draw_near(known, target, self._near)._replace(jaws=1.0)
        if known.is_stalled:
            turn = 0.0 if self._turn is None else self._turn.to_go
            if not fix_by_touch(known, Piece(angle=turn) if turn else Piece(1.0)):
                Touch(known, turn).enter(known)
                if self._last is None and not turn:
                    known.ledger.go_for(Pose(*self._place, known.pose.heading))  # another direction may be better
        elif known.obstacle and known.held_back_for > PATIENCE:
            known.ledger.obstacles.heard(heard(known), known.now_ns)
        return self.drive(known, self._wanted(known, target)._replace(jaws=1.0, feels=self._most <= FEEL), PATIENCE)

    def _wanted(self, known: Knowledge, target: Remembered) -> Request:
        if self._last is not None:
            return self._straight(known)
        distance, bearing = bearing_to(known.pose.x, known.pose.y, known.pose.heading, target.x, target.y)
        return self._centre(known, distance, bearing)

    def _draw_near(self, known: Knowledge, target: Remembered, near: DrawNear) -> Request:
        request = near.request(known, target)
        if near.progress == Progress.FAILED:
            return self.fail(near.why)
        if near.progress == Progress.DONE:
            self._near, self._most = None, near.most
        return request

    def _centre(self, known: Knowledge, distance: float, bearing: float) -> Request:
        reach = known.robot.body.gripper_reach
        if self._turn is not None or abs(bearing) > math.radians(20.0 if distance > self._stop_at + 0.1 else 8.0):
            return self._turn_to(known, distance, bearing)
        if distance <= self._stop_at:
            self._last = (known.pose.x, known.pose.y, known.pose.heading + bearing, distance - reach)
            known.ledger.go_for(Pose(*self._place, known.pose.heading + bearing))
            return self._straight(known)
        most = min(self._most, 0.7 * known.robot.limits.speed)
        speed = towards(distance - reach, most, 0.3 * known.robot.limits.deceleration, 0.06)
        return Request(
            speed * max(0.3, math.cos(3.0 * bearing)), HEADING_GAIN * bearing, expects_contact=distance < 0.5
        )

    def _turn_to(self, known: Knowledge, distance: float, bearing: float) -> Request:
        if distance < known.robot.body.gripper_reach + 0.02:
            return self.fail("too near to turn to it without sweeping it aside")
        heading = wrap(known.pose.heading + bearing)
        if self._turn is None:
            self._turn = TurnTowards(heading, 0.6 * known.robot.limits.turn_rate)
        self._turn.heading = heading
        request = self._turn.request(known)
        if request is None or abs(bearing) < CENTRED:
            self._turn = None
            return STILL
        return request

    def _straight(self, known: Knowledge) -> Request:
        assert self._last is not None
        x, y, heading, length = self._last
        gone = (known.pose.x - x) * math.cos(heading) + (known.pose.y - y) * math.sin(heading)
        if gone >= length - (short_of(known) if known.held_back_for > SHORT_AFTER else 0.0):
            return self.done()
        speed = towards(length - gone, min(0.12, self._most), 0.3 * known.robot.limits.deceleration, 0.06)
        return Request(speed, HEADING_GAIN * wrap(heading - known.pose.heading), expects_contact=True)


class _Jaws(Activity):
    """Moves the jaws and waits until they have had the time for it."""

    opening = 0.0

    def __init__(self, known: Knowledge, values: Mapping[str, Any]) -> None:
        gripper = known.robot.devices.gripper
        assert gripper is not None
        self._seconds = gripper.travel_time + SETTLE

    def step(self, known: Knowledge) -> Request:
        """Wait."""
        self._seconds -= known.seconds
        if self._seconds <= 0.0:
            self.arrive(known)
        return Request(jaws=self.opening)

    def arrive(self, known: Knowledge) -> None:
        """End, once the jaws have had the time for it."""
        self.done()


class CloseJaws(_Jaws):
    """Closes the jaws; fails where feedback says that nothing is between them."""

    spec = ActivitySpec("close the jaws; fails if feedback says that they hold nothing", {}, ("gripper",))

    def arrive(self, known: Knowledge) -> None:
        """Fail where the jaws' own feedback tells that they closed on nothing; what else can tell has time to."""
        known.ledger.gripped(grip_now(known))
        if known.grip.felt is False and known.signals.gripper_ok:
            self.fail(f"the jaws closed on nothing: {_how_felt(known)}")
        else:
            self.done()


def _how_felt(known: Knowledge) -> str:
    """Return what their feedback says of jaws that hold nothing."""
    gripper, opening = known.robot.devices.gripper, known.signals.jaws_opening
    if opening == opening:
        return f"they stopped at {opening:.0%} open"
    return f"their {'switch' if gripper is not None and gripper.feedback == 'switch' else 'feedback'} says so"


class OpenJaws(_Jaws):
    """Opens the jaws; something recorded as carried is then lost at this place."""

    spec = ActivitySpec("open the jaws; what was carried is noted as left here", {}, ("gripper",), can_fail=False)
    opening = 1.0

    def __init__(self, known: Knowledge, values: Mapping[str, Any]) -> None:
        super().__init__(known, values)
        if known.jaws == self.opening and known.grip.latest.is_held:
            known.note("grip", "the jaws do not let go: they were opened before, and still hold something")
        else:
            known.ledger.lost(*jaws_place(known))


class RecordFind(Deed):
    """Notes the object in the jaws as found here, and as carried from now on."""

    spec = ActivitySpec(
        "note the object in the jaws: its position with its 95 % ellipse; it is carried from now on",
        {},
        ("gripper",),
        can_fail=False,
    )

    def __init__(self, known: Knowledge, values: Mapping[str, Any]) -> None:
        if known.grip.latest.is_held is False:
            known.note("grip", "nothing is in the jaws, so that nothing is noted as found")
            return
        grip, held = known.ledger.grip or grip_now(known), _kind_between(known)
        known.ledger.found(grip._replace(kind=held) if held else grip)
        known.heard.forget((grip.x, grip.y))
        if (chosen := known.targets.chosen) is not None:
            known.heard.forget((chosen.x, chosen.y))
            known.targets.forget(chosen)


def grip_now(known: Knowledge) -> Grip:
    """Return what the jaws close on now: what is seen between them, else the target, which may be forgotten later."""
    target = known.targets.chosen
    supposed = target.kind if target is not None else next(iter(known.errand.kinds), "object")
    kind = _kind_between(known) or supposed
    return Grip(kind, *jaws_place(known), *jaws_covariance(known))


def _kind_between(known: Knowledge) -> str:
    """Return the kind of what is seen between the jaws; '' where that is nothing, or nothing to fetch."""
    kind = "" if known.between_jaws is None else known.between_jaws.detection.kind
    return kind if kind in known.errand.kinds else ""


def jaws_covariance(known: Knowledge) -> tuple[float, float, float]:
    """Return (xx, xy, yy) in m^2 of what stands in the jaws: the pose's, the heading's over the reach, and the play."""
    xx, xy, xt, yy, yt, tt = known.filter.covariance(known.now_ns)
    reach, c, s = known.robot.body.gripper_reach, math.cos(known.pose.heading), math.sin(known.pose.heading)
    dx, dy = -reach * s, reach * c
    along, across = (sigma * sigma for sigma in JAWS_PLAY)
    return (
        xx + 2.0 * dx * xt + dx * dx * tt + along * c * c + across * s * s,
        xy + dy * xt + dx * yt + dx * dy * tt + (along - across) * c * s,
        yy + 2.0 * dy * yt + dy * dy * tt + along * s * s + across * c * c,
    )
