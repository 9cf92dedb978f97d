"""Setting down in the tray: straight in, let go, straight back out, and look whether it was left there."""

import math
from collections.abc import Mapping
from typing import Any

from rover import quantities
from rover.activities.activity import Knowledge
from rover.activities.driving import HEADING_GAIN, PATIENCE, Driving, why_give_up
from rover.activities.gripping import SETTLE, jaws_covariance
from rover.activities.places import jaws_place, slots_to_fill
from rover.behaviour.vocabulary import ActivitySpec, Parameter
from rover.estimate.ellipse import chance_inside
from rover.estimate.field import Slot
from rover.events import BELIEVED, FELT, SEEN
from rover.geometry import XY
from rover.kinds import Number
from rover.motion.keep_clear import CREEP
from rover.motion.profile import towards
from rover.motion.request import Request
from rover.quantities import clamp, wrap
from rover.vision.targets import PLAIN_SHARE, Sighting

SURE_ENOUGH = 0.5
"""With a smaller chance than this of landing inside the tray, nothing is set down."""
SURELY_THERE = 0.15
"""What is let go of where the position is less sure than this (m) is believed to be in the tray, whatever is seen or
felt: who drives home by counts and heading alone is twice as sure."""
UNSURE = "the position is too unsure: it could be set down beside the tray"
IN_FRONT = 0.1
"""The way in may begin so far (m) aside of the slot's own line: half of what slots are apart."""
HESITATION = 0.3
"""Held back for so long (s) on the way in, the rest of it is driven at a creep."""
OPENED_AT_MOST = 3
"""So often the jaws are opened where they are felt to hold on."""
LOOKS_FOR = 2.0
"""Seconds for which it is looked, at least, whether the object was left there, while that is not clear."""
WAITS_FOR = 20.0
"""The same while the camera, which has the place in view, is silent: it may come back."""
FRAMES_TO_SEE, FRAMES_TO_MISS = 3, 15
"""In so many frames an object is seen in the tray; not in one of so many, nothing stands there."""
LOOKS_TO_KNOW = 3
"""So many looks of the grip that say the same tell whether the jaws are empty."""
OUT_OF_JAWS = 0.15
"""What is seen farther than this (m) from the jaws' middle is neither held nor dragged along by them."""
ASTRAY = 0.3
"""What is let go of stands within so far (m) of there: it may have slipped out a moment before."""


class SetDown(Driving):
    """Drives straight into the tray to the free slot, opens the jaws, comes straight back out, and looks.

    Only what is seen in the tray then, or was held on the way in and is felt to be out of the jaws, is delivered.
    """

    spec = ActivitySpec(
        "from the tray's gate: straight in to the free slot, let go, straight back out, and look whether it is there",
        {
            "speed": Parameter(
                Number(quantities.SPEED), "at most this fast; default: half the robot's limit", positive=True
            )
        },
        ("drive", "counts", "gripper"),
    )

    def __init__(self, known: Knowledge, values: Mapping[str, Any]) -> None:
        slots = slots_to_fill(known)
        self._slot = next((slot for slot in slots if abs(_to_slot(known, slot)[1]) <= IN_FRONT), None)
        self._speed = values.get("speed", 0.5 * known.robot.limits.speed)
        self._in_from = (known.pose.x, known.pose.y)
        gripper = known.robot.devices.gripper
        assert gripper is not None
        self._travel = gripper.travel_time + SETTLE
        self._wait, self._opening, self._opened = self._travel, 1.0, 1
        self._was_held: bool | None = None
        self._sure_to = 0.0
        self._look: LookBack | None = None
        self._given_up = ""
        if self._slot is None:
            self.fail("no free slot is straight ahead" if slots else "no slot is free")
        elif self._is_unsure(known):
            self.fail(UNSURE)

    def step(self, known: Knowledge) -> Request:
        """In, let go, out, look."""
        if self._given_up:
            return self._retreat(known)
        if self._slot is not None:
            return self._drive_in(known)
        if self._wait > 0.0:
            return self._let_go(known)
        if self._look is None:
            self._look = LookBack(known)
        if (left := self._left_in_tray(known)) > 0.02:
            self._look.watch(known)
            return self.drive(known, self._backwards(known, left)._replace(jaws=1.0))
        return self._look_back(known, self._look)

    def _drive_in(self, known: Knowledge) -> Request:
        assert self._slot is not None
        ahead, aside = _to_slot(known, self._slot)
        if ahead <= 0.01:
            return self._arrive(known)
        if known.held_back_for > HESITATION:
            self._speed = min(self._speed, CREEP)  # at which less room is due
        self._given_up = why_give_up(known, PATIENCE)
        if not known.ground.is_open(self._slot, known.ledger.in_tray):
            self._given_up = "something stands in the free slot, or in the way to it"
        if self._is_unsure(known):
            self._given_up = UNSURE
        lean = clamp(2.0 * aside, -0.35, 0.35) if ahead > 0.08 else 0.0
        turn_rate = HEADING_GAIN * wrap(known.ground.entry + lean - known.pose.heading)
        speed = towards(ahead, self._speed, 0.5 * known.robot.limits.deceleration)
        return Request(speed, turn_rate, range_blocked=True, expects_contact=ahead < 0.15)

    def _is_unsure(self, known: Knowledge) -> bool:
        slot = self._slot
        return slot is not None and _chance_inside(known, (slot.x, slot.y)) < SURE_ENOUGH

    def _retreat(self, known: Knowledge) -> Request:
        """Come straight back out with what is held, so that nothing in the tray is swept aside, and fail then."""
        if (left := self._left_in_tray(known)) <= 0.02:
            return self.fail(self._given_up)
        return self.drive(known, self._backwards(known, left))

    def _arrive(self, known: Knowledge) -> Request:
        assert self._slot is not None
        place = jaws_place(known)
        self._was_held = known.grip.latest.is_held
        self._sure_to = known.filter.position_doubt.worst
        known.ledger.set_down(self._slot, *place, _chance_inside(known, place))
        self._slot = None
        return Request(jaws=1.0)

    def _let_go(self, known: Knowledge) -> Request:
        """Wait for the jaws; felt to hold on, they are closed and opened again."""
        self._wait -= known.seconds
        holds_on = known.grip.felt is True and known.signals.gripper_ok
        if self._wait <= 0.0 and (self._opening < 1.0 or (holds_on and self._opened < OPENED_AT_MOST)):
            self._opened += self._opening < 1.0
            self._opening, self._wait = 1.0 - self._opening, self._travel
        return Request(jaws=self._opening)

    def _deliver(self, known: Knowledge, known_by: str, look: "LookBack") -> None:
        if self._sure_to <= SURELY_THERE:
            known.ledger.delivered_by(known_by, look.evidence)
        else:
            where = f"let go of where the position was sure to {self._sure_to:.2f} m only"
            known.ledger.delivered_by(BELIEVED, f"{look.evidence}; {where}")

    def _left_in_tray(self, known: Knowledge) -> float:
        """Return how far (m) it is yet back to where the way in began."""
        c, s = math.cos(known.ground.entry), math.sin(known.ground.entry)
        return (known.pose.x - self._in_from[0]) * c + (known.pose.y - self._in_from[1]) * s

    def _backwards(self, known: Knowledge, left: float) -> Request:
        speed = -towards(left, self._speed, 0.5 * known.robot.limits.deceleration)
        return Request(speed, HEADING_GAIN * wrap(known.ground.entry - known.pose.heading))

    def _look_back(self, known: Knowledge, look: "LookBack") -> Request:
        ledger = known.ledger
        match look.step(known):
            case None:
                return Request(jaws=1.0)
            case "there":
                self._deliver(known, SEEN, look)
            case "in the jaws":
                ledger.kept()
                return self.fail("it stays in the jaws, though they were opened")
            case "not there":
                ledger.not_left()
                return self.fail("nothing stands where it was set down")
            case "out of the jaws" if self._was_held is False:
                ledger.not_left()
                return self.fail("the jaws were empty when they came there")
            case "out of the jaws" | "out of the jaws, and seen" if self._was_held:
                self._deliver(known, FELT, look)
            case _:
                ledger.delivered_by(BELIEVED, look.evidence)
        return self.done()


def _to_slot(known: Knowledge, slot: Slot) -> tuple[float, float]:
    """Return how far the slot is before the jaws, and to the left of the way in (m)."""
    c, s = math.cos(known.ground.entry), math.sin(known.ground.entry)
    dx, dy = slot.x - known.pose.x, slot.y - known.pose.y
    return dx * c + dy * s - known.robot.body.gripper_reach, dy * c - dx * s


class LookBack:
    """Looks whether what was set down was left: in the tray, and out of the jaws.

    On the way out it is seen from nearest; what speaks against it counts only from where the robot stands in the end.
    """

    def __init__(self, known: Knowledge) -> None:
        setting_down = known.ledger.setting_down
        assert setting_down is not None
        self._place = (setting_down.x, setting_down.y)
        own = known.ledger.place_in(setting_down.slot)
        self._others = [place for place in known.ledger.in_tray if place != own]
        camera = known.robot.devices.camera
        frames_s = 0.0 if camera is None else (FRAMES_TO_MISS + 1) / camera.rate + camera.latency
        self._since_ns, self._lasts = known.now_ns, max(LOOKS_FOR, frames_s)
        self._seconds = self._looked = 0.0
        self._frames = self._seen = 0
        self._held = {True: 0, False: 0}
        self._frame, self._grip_looks = known.signals.camera_n, known.grip.looks

    def watch(self, known: Knowledge) -> None:
        """Look at the newest frame on the way out."""
        self._count_frame(known)
        self._frames = self._seen  # one that does not show it tells nothing yet

    def step(self, known: Knowledge) -> str | None:
        """Return what became of it once that is clear, or clear no more: ``there``, ``not there``, ``in the jaws``,
        ``out of the jaws``, ``out of the jaws, and seen``, or ``unknown``.
        """
        self._seconds += known.seconds
        self._count_frame(known)
        self._count_grip(known)
        holds_on = self._held[True] >= LOOKS_TO_KNOW and self._held[True] > self._held[False]
        may_be_seen, is_in_view = self._is_in_view(known, 1.0), self._is_in_view(known, PLAIN_SHARE)
        looks, is_over = may_be_seen and _is_looking(known), self._is_over(known, may_be_seen)
        if self._seen >= FRAMES_TO_SEE:
            return "unknown" if holds_on else "there"  # it cannot be both
        if looks and not is_over:
            return None
        if holds_on:
            return "in the jaws"
        if self._seen == 0 and self._frames >= FRAMES_TO_MISS and is_in_view:
            return "not there"
        if self._held[False] >= LOOKS_TO_KNOW:
            return "out of the jaws, and seen" if self._seen else "out of the jaws"
        return "unknown" if is_over else None

    @property
    def evidence(self) -> str:
        """What told what became of it, in words."""
        frames, held = f"seen in {self._seen} of {self._frames} frames", self._held
        return f"{frames}; grip: held in {held[True]} looks, not held in {held[False]}"

    def _is_over(self, known: Knowledge, is_in_view: bool) -> bool:
        """Tell whether there was time enough for what can tell; a camera that is silent may come back."""
        if is_in_view and _is_looking(known):
            self._looked += known.seconds
            return self._looked >= self._lasts
        waits = is_in_view and not known.signals.camera_doubted
        return self._seconds >= (WAITS_FOR if waits else self._lasts)

    def _count_frame(self, known: Knowledge) -> None:
        signals = known.signals
        if signals.camera_n == self._frame or signals.camera_t < self._since_ns or not _is_looking(known):
            return
        self._frame = signals.camera_n
        self._frames += 1
        self._seen += any(self._is_it(known, one) for one in known.sighted)

    def _is_it(self, known: Knowledge, one: Sighting) -> bool:
        """Tell whether a sighting is of it: in the tray, near where it was let go of, and no other that is there."""
        place = (one.x, one.y)
        apart = math.dist(place, self._place)
        from_jaws = math.hypot(one.ahead - known.robot.body.gripper_reach, one.left)
        if apart > ASTRAY or from_jaws < OUT_OF_JAWS or not known.ground.in_zone(*place):
            return False
        return all(math.dist(place, other) > apart for other in self._others)

    def _count_grip(self, known: Knowledge) -> None:
        latest = known.grip.latest
        if known.grip.looks == self._grip_looks or latest.taken_ns < self._since_ns:
            return
        self._grip_looks = known.grip.looks
        if latest.is_held is not None:
            self._held[latest.is_held] += 1

    def _is_in_view(self, known: Knowledge, share: float) -> bool:
        """Tell whether the camera, if any, has the place in view, out to a share of its sight, and behind nothing."""
        view, pose = known.targets.view, known.pose
        eye = view.place(pose)
        distance, bearing = _polar(eye, self._place, pose.heading)
        if not view.nearest < distance < share * view.reach or abs(bearing) > 0.75 * view.half_view:
            return False
        return not any(
            _hides(eye, other, distance, bearing, pose.heading, known.errand.widest) for other in self._others
        )


def _is_looking(known: Knowledge) -> bool:
    """Tell whether the camera can be relied on."""
    return bool(known.signals.camera_ok) and not known.signals.camera_doubted


def _polar(eye: XY, place: XY, heading: float) -> tuple[float, float]:
    """Return distance (m) and bearing (rad) of a place."""
    dx, dy = place[0] - eye[0], place[1] - eye[1]
    return math.hypot(dx, dy), wrap(math.atan2(dy, dx) - heading)


def _hides(eye: XY, other: XY, distance: float, bearing: float, heading: float, width: float) -> bool:
    """Tell whether another thing stands before what is at a distance (m) and bearing (rad)."""
    nearer, aside = _polar(eye, other, heading)
    return nearer < distance and abs(wrap(aside - bearing)) < math.atan2(width, nearer)


def _chance_inside(known: Knowledge, place: XY) -> float:
    zone, kinds, kind = known.ground.zone, known.errand.kinds, known.ledger.carried or ""
    assert zone is not None  # there is a slot
    xx, _, yy = jaws_covariance(known)
    return chance_inside(place, (xx, yy), zone, kinds[kind].width if kind in kinds else 0.0)
