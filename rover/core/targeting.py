"""What a frame shows: what stands between the jaws, what is a candidate, and which candidate is chosen."""

import math
from collections.abc import Mapping, Sequence

from rover.activities.activity import Knowledge
from rover.activities.places import barring_tray
from rover.devices.jaws import jaws_size
from rover.devices.readings import Detection
from rover.errand.entries import Standing
from rover.errand.ledger import Ledger
from rover.estimate.looked_at import Sector
from rover.geometry import XY, Pose, inside
from rover.quantities import wrap
from rover.vision.clear_view import ClearView
from rover.vision.targets import (
    LOOKING_SHARE,
    MISSES_TO_FORGET,
    Remembered,
    Sighting,
    TargetMemory,
    before_walls,
    sight,
)

POSE_SIGMA_AT_MOST = 0.05
"""The pose's share in a sighting's error is never taken for more than this (m)."""
STEADY_TURN_RATE = 0.35
"""Slower than this (rad/s) a frame is sharp enough for absence to mean something."""
LOOKED_MOVED, LOOKED_TURNED = 0.15, 0.15
"""Nearer (m, by both axes) and turned less (rad) than this, a look is the last one again."""
SEEN_IN_JAWS = (0.015, 0.02)
"""A sighting so much (m) farther from the jaws' middle than what they close on, ahead and aside, is between them."""
DONE_WITH_RADIUS = 0.20
"""A sighting this near (m) to the place of something done with is that object again."""
AS_VAGUE = 3.0
"""So is one of the same kind within so many standard deviations of where it seems to be from afar."""
VANISHED_OFTEN = 3
"""What was not there this many times, when the robot came near, is no longer believed in at that place."""
SET_DOWN_RADIUS = 0.13
"""What stands this near (m) to a filled slot is what was set down there."""
WALLS_OFF = 2.0
"""Walls of the map may stand off, as seen from the robot, by so many standard deviations of its position."""
BEYOND_SIGMAS = 6.0
"""What stands in the tray seems now and then to stand so many sigma of its distance beyond its place: where only the
frames count in which it does, and there are hundreds, three of them would make an object."""
SURE_IN_TRAY, NEAR_TRAY, SIGHTINGS_IN_TRAY = 0.05, 0.9, 6
"""Only what is seen as surely as this (m, a standard deviation without the pose's) from so near (m) and so often takes
room in the tray: from farther off tilt and heading, wrong by the same in all frames, have it stand elsewhere."""
TRAY_DOUBT = 2.0
"""Nor may it stand so near to the tray's edge that it is outside of it if the position is wrong by so many standard
deviations, those of a usual one (`USUAL_SIGMA`) left out ..."""
USUAL_SIGMA = 0.03
TRAY_EDGE = 0.03
"""What seems to stand in the tray, and so near to its edge (m), may as well stand beside it: it is gone for, as what
stands outside, once it is seen surely. A jar that stood 6 mm outside was taken to be in."""
SURER = 0.7
"""... then it stands there perhaps, until the position's standard deviation is less than this share of what it was."""
CLEARLY_BETTER = 0.6
"""Another object must be this share of the target's distance or nearer to take its place..."""
FRAMES_TO_SWITCH = 5
"""... in so many frames in a row."""
TURN_COST = 0.15
"""Metres of driving that a radian of turning counts as, when targets are ranked."""


class Targeting:
    """Takes frames in: parts what the jaws hold and what is done with from the candidates, and chooses one of these."""

    def __init__(self, known: Knowledge, make_choice: "type[TargetChoice]") -> None:
        self._known = known
        self._looked_from: Pose | None = None
        self._choice = make_choice(known.targets)
        self._tray = TargetMemory(known.targets.view)
        self._perhaps = TargetMemory(known.targets.view)
        self._perhaps_doubt = 0.0
        widest, (ahead, aside) = known.errand.widest, SEEN_IN_JAWS
        jaws = jaws_size(known.robot.devices.gripper, widest)
        self._window = jaws.half_depth + ahead, jaws.spare(widest) + aside

    def see(self, detections: Sequence[Detection], taken_ns: int) -> None:
        """Take in the objects of a frame of a time; nothing is placed if nobody knows where the robot was then."""
        known = self._known
        pose = known.filter.at(taken_ns)
        is_placed = bool(known.signals.counts_ok or known.signals.heading_ok) and known.filter.knows(taken_ns)
        pose_sigma = min(known.filter.position_doubt.worst, POSE_SIGMA_AT_MOST)
        closed = known.jaws is not None and known.jaws < 0.5
        candidates: list[Sighting] = []
        view, walls = known.targets.view, known.ground.walls
        eye = view.place(pose)
        known.sighted = [before_walls(sight(one, view, pose, pose_sigma), eye, walls) for one in detections]
        known.between_jaws = None
        in_tray = seen_in_tray(known.ledger, known.sighted, eye)
        for sighting in known.sighted:
            is_between = self._is_between(sighting)
            if is_between:
                known.between_jaws = sighting
            is_other = is_placed and sighting not in in_tray and not (closed and is_between)
            if is_other and self._is_candidate(sighting):
                candidates.append(sighting)
        steady = is_placed and abs(known.filter.heading_rate) < STEADY_TURN_RATE
        in_jaws = closed and known.between_jaws is not None
        in_jaws = in_jaws and not (known.signals.gripper_ok and known.grip.felt is False)
        if in_jaws or not closed:
            known.in_jaws_ns = known.now_ns if in_jaws else None
        is_free = known.ledger.carried is None
        clear = self._clear_view() if steady else None
        places = {one.number: (one.x, one.y) for one in known.targets.objects}
        known.targets.update(candidates, pose, None if in_jaws and is_free else clear)  # what is gripped left its place
        self._keep_in_field(places)
        self._tell_stories()
        if is_placed:
            self._look_into_tray(pose, clear, closed=closed)
        if is_free and not in_jaws:
            self._choose(pose)
        if steady and not closed:
            self._count_as_looked_at(pose)
        self._fill_signals(candidates, in_jaws=in_jaws)

    def _choose(self, pose: Pose) -> None:
        ledger = self._known.ledger
        if taken := self._choice.choose(pose, ledger.kinds_now(), barring_tray(self._known)):
            ledger.stories.choose(taken.number, taken.x, taken.y)

    def _keep_in_field(self, places: Mapping[int, XY]) -> None:
        """Leave an object where it was if a sighting would move it out of the field: nobody could look for it there."""
        boundary = self._known.ground.boundary
        for one in self._known.targets.objects:
            if one.number in places and not inside((one.x, one.y), boundary):
                one.x, one.y = places[one.number]

    def _clear_view(self) -> ClearView:
        """Return what hides places from the camera in this frame: walls, what is seen, and what was met."""
        known = self._known
        things = [(one.x, one.y) for one in known.sighted]
        things += [(one.x, one.y) for one in known.ledger.obstacles.now(known.now_ns)]
        return ClearView(known.ground.walls, things, WALLS_OFF * known.filter.position_doubt.worst)

    def _tell_stories(self) -> None:
        """Note which objects are believed in now that were not before, and the other way round."""
        targets, stories = self._known.targets, self._known.ledger.stories
        for one in targets.forgotten:
            missed = one.misses >= MISSES_TO_FORGET
            self._known.heard.forget((one.x, one.y))
            stories.forget(one.number, f"in plain view, and not seen in {one.misses} frames" if missed else "")
            if missed:
                self._known.ledger.looked_at.look_again_about((one.x, one.y))
        targets.forgotten.clear()
        for one in targets.objects:
            if one.known and not stories.knows(one.number):
                give_or_take = 2.0 * math.sqrt(max(one.xx, one.yy))
                how = f"in {one.sightings} frames, give or take {give_or_take:.2f} m"
                stories.see(one.number, one.kind, one.x, one.y, how)

    def _is_between(self, one: Sighting) -> bool:
        reach = self._known.robot.body.gripper_reach
        slack = min(0.03, 2.0 * one.detection.distance_sigma)
        return abs(one.ahead - reach) < self._window[0] + slack and abs(one.left) < self._window[1]

    def _is_candidate(self, one: Sighting) -> bool:
        """Tell whether a sighting is of something to fetch: in the field, and not done with."""
        known = self._known
        if one.detection.kind not in known.errand.kinds or not inside((one.x, one.y), known.ground.boundary):
            return False
        return not is_done_with(known.ledger, one)

    def _look_into_tray(self, pose: Pose, clear: ClearView | None, *, closed: bool) -> None:
        """Enter in the ledger what stands in the tray besides what was set down there."""
        known, ledger, reach = self._known, self._known.ledger, self._known.robot.body.gripper_reach
        may_hold = closed or ledger.carried is not None
        in_tray = [
            one
            for one in known.sighted
            if one.detection.kind in known.errand.kinds
            and one.detection.distance < NEAR_TRAY
            and known.ground.in_zone(one.x, one.y)
            and not (may_hold and math.hypot(one.ahead - reach, one.left) < SET_DOWN_RADIUS)  # it is in the jaws
        ]
        self._look_into_slots(in_tray)
        margin = -max(TRAY_EDGE, TRAY_DOUBT * (known.filter.position_doubt.worst - USUAL_SIGMA))
        sure = [one for one in in_tray if known.ground.in_zone(one.x, one.y, margin)]
        self._tray.update(sure, pose, clear)
        self._look_at_edge([one for one in in_tray if one not in sure], pose, clear)
        for one in self._tray.objects:
            if one.sightings >= SIGHTINGS_IN_TRAY and self._was_not_set_down(one):
                ledger.stands_in_tray(Standing(one.kind, one.x, one.y))
                for gone in known.targets.forget_vaguer(one):
                    ledger.looked_at.look_again_about((gone.x, gone.y))

    def _look_into_slots(self, in_tray: Sequence[Sighting]) -> None:
        """Note where what was set down is seen to stand."""
        for slot, kind in self._known.ledger.filled:
            alike = [one for one in in_tray if one.detection.kind == kind]
            seen = [one for one in alike if _is_near(one, slot.x, slot.y, SET_DOWN_RADIUS)]
            if seen:
                nearest = min(seen, key=lambda one: math.hypot(one.x - slot.x, one.y - slot.y))
                self._known.ledger.see_in_slot(slot, (nearest.x, nearest.y))

    def _look_at_edge(self, doubtful: Sequence[Sighting], pose: Pose, clear: ClearView | None) -> None:
        """Keep in mind what stands in the tray perhaps, or just outside: it is kept clear of as if it did.

        What is remembered as an object outside is kept clear of as that.
        """
        doubt = self._known.filter.position_doubt.worst
        if doubt < SURER * self._perhaps_doubt:
            self._perhaps = TargetMemory(self._perhaps.view)
            self._perhaps_doubt = 0.0
        if doubtful:
            self._perhaps_doubt = doubt
        self._perhaps.update(doubtful, pose, clear)
        found = [one for one in self._perhaps.objects if one.known and self._was_not_set_down(one)]
        others = [one for one in self._known.targets.objects if one.known]
        self._known.ledger.perhaps_in_tray = [
            (one.x, one.y)
            for one in found
            if not any(other.kind == one.kind and other.distance(one.x, one.y) < DONE_WITH_RADIUS for other in others)
        ]

    def _was_not_set_down(self, one: Remembered) -> bool:
        """Tell whether it is sure where something stands in the tray, and nothing was set down there."""
        if max(one.xx, one.yy) - one.base > SURE_IN_TRAY**2:
            return False
        for filled in self._known.ledger.filled:
            radius = DONE_WITH_RADIUS if filled.kind == one.kind else SET_DOWN_RADIUS
            if one.distance(filled.slot.x, filled.slot.y) < radius + math.sqrt(one.base):
                return False
        return True

    def _count_as_looked_at(self, pose: Pose) -> None:
        """Count the ground in view as looked at, once for each place and direction."""
        last = self._looked_from
        if (
            last is not None
            and abs(pose.x - last.x) + abs(pose.y - last.y) < LOOKED_MOVED
            and abs(pose.heading - last.heading) < LOOKED_TURNED
        ):
            return
        self._looked_from = pose
        view = self._known.targets.view
        sector = Sector(view.half_view, view.nearest, LOOKING_SHARE * view.reach)
        self._known.ledger.looked_at.look(view.place(pose), pose.heading, sector)

    def _fill_signals(self, candidates: Sequence[Sighting], *, in_jaws: bool) -> None:
        known, signals = self._known, self._known.signals
        seen = known.targets.seen
        if known.targets.chosen is None:
            seen = min(candidates, key=lambda one: one.detection.distance, default=None)
        signals.target_seen = seen is not None
        signals.target_distance = math.nan if seen is None else math.hypot(seen.ahead, seen.left)
        signals.target_bearing = math.nan if seen is None else math.atan2(seen.left, seen.ahead)
        signals.target_in_jaws = in_jaws


def is_done_with(ledger: Ledger, one: Sighting) -> bool:
    """Tell whether a sighting is of something put off, or in the tray already.

    From far off a distance is vague, so an object in the tray can seem to stand beyond it.
    """
    sigma = math.sqrt(max(one.xx, one.yy))
    if ledger.ground.in_zone(one.x, one.y, -TRAY_EDGE if sigma < SURE_IN_TRAY else 0.0):
        return True
    if sum(_is_near(one, x, y, DONE_WITH_RADIUS) for x, y in ledger.vanished) >= VANISHED_OFTEN:
        return True
    alike = max(SET_DOWN_RADIUS, AS_VAGUE * sigma)
    for kind, x, y in ledger.put_off:
        reach = max(DONE_WITH_RADIUS, alike) if kind == one.detection.kind else DONE_WITH_RADIUS
        if _is_near(one, x, y, reach):
            return True
    return any(one.detection.kind == kind and _is_near(one, x, y, alike) for kind, x, y in ledger.known_in_tray)


def seen_in_tray(ledger: Ledger, sighted: Sequence[Sighting], eye: XY) -> list[Sighting]:
    """Return the sightings that are of what stands in the tray, though they seem to stand beyond it.

    It hides from the eye what stands right behind it. Of each thing there is one in a frame at most, the nearest to its
    place: where it is seen there, another beyond it is another. Those in front come first: of two behind each other
    that both seem to be too far off, the first stands where the second does.
    """
    found: list[Sighting] = []
    for kind, x, y in sorted(ledger.known_in_tray, key=lambda thing: math.dist(thing[1:], eye)):
        on_line = [
            one
            for one in sighted
            if one.detection.kind == kind and one not in found and _may_be_beyond(one, (x, y), eye)
        ]
        if on_line:
            found.append(min(on_line, key=lambda one: math.dist((one.x, one.y), (x, y))))
    return found


def _may_be_beyond(one: Sighting, place: XY, eye: XY) -> bool:
    """Tell whether a sighting is on the line from the eye through a place (m), about there or farther off."""
    direction = math.atan2(one.y - eye[1], one.x - eye[0])
    c, s = math.cos(direction), math.sin(direction)
    dx, dy = place[0] - eye[0], place[1] - eye[1]
    beyond, across = math.dist(eye, (one.x, one.y)) - (dx * c + dy * s), abs(dy * c - dx * s)
    return across < SET_DOWN_RADIUS and -SET_DOWN_RADIUS < beyond < BEYOND_SIGMAS * one.detection.distance_sigma


def _is_near(one: Sighting, x: float, y: float, radius: float) -> bool:
    return (one.x - x) ** 2 + (one.y - y) ** 2 <= radius * radius


class TargetChoice:
    """Keeps the chosen target, until another is clearly better for some frames."""

    def __init__(self, targets: TargetMemory) -> None:
        self.targets = targets
        self._rival: tuple[int, int] = (-1, 0)

    def choose(self, pose: Pose, kinds: Sequence[str] | None, barring: Sequence[Remembered] = ()) -> Remembered | None:
        """Choose, and return the target if it is a new one.

        Args:
            pose: the robot's.
            kinds: the kinds that may be fetched now, first come first; None for any.
            barring: what bars the way into the tray: nothing else can be set down there before that.
        """
        targets, best = self.targets, self._best(pose, kinds, barring)
        chosen = targets.chosen
        if best is None or best is chosen:
            self._rival = (-1, 0)
            return None
        if chosen is not None:
            may_be = best in barring or chosen not in barring
            better = may_be and _cost(best, pose) < CLEARLY_BETTER * _cost(chosen, pose)
            frames = self._rival[1] + 1 if self._rival[0] == best.number else 1
            self._rival = (best.number, frames) if better else (-1, 0)
            if not better or frames < FRAMES_TO_SWITCH:
                return None
            targets.seen = None
        targets.chosen, self._rival = best, (-1, 0)
        return best

    def _best(self, pose: Pose, kinds: Sequence[str] | None, barring: Sequence[Remembered]) -> Remembered | None:
        """Return the cheapest to fetch of those believed in: of the first kind to be had, where kinds are named, and of
        those that bar the tray, where some do."""
        believed = [one for one in self.targets.objects if one.known]
        if kinds is not None:
            first = next((kind for kind in kinds if any(one.kind == kind for one in believed)), None)
            believed = [one for one in believed if one.kind == first]
        believed = [one for one in believed if one in barring] or believed
        return min(believed, key=lambda one: _cost(one, pose), default=None)


def _cost(one: Remembered, pose: Pose) -> float:
    turn = abs(wrap(math.atan2(one.y - pose.y, one.x - pose.x) - pose.heading))
    return one.distance(pose.x, pose.y) + TURN_COST * turn
