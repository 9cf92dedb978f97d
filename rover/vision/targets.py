"""Objects remembered in field coordinates.

A detection is brought into the field through the pose of the time its frame was taken; it joins the nearest
remembered object of its kind, or begins a new one. What should be in plain view and is not, is forgotten.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from rover.devices.readings import Detection
from rover.geometry import XY, Pose, crossing
from rover.quantities import wrap
from rover.vision.clear_view import ClearView

SIGHTINGS_TO_KNOW = 3
"""Frames in which an object must have been seen before it is believed in."""
FRAMES_TO_KNOW = 30
"""... with no more frames than this from one to the next: errors that come now and then do not add up to an object."""
MISSES_TO_FORGET = 12
"""Frames in a row in which an object is in plain view and not seen, before it is forgotten."""
JOIN_DISTANCE, JOIN_SIGMAS, JOIN_AT_MOST = 0.15, 3.0, 0.6
"""A sighting nearer to an object of its kind than this (m), or than so many sigma and that (m), is of that object..."""
APART = 0.04
"""... unless another of the same frame is, and they are farther apart than this (m): two things are not one."""
SIGHTINGS_AS_ONE = 3.0
"""So many sightings tell as much as one would whose error is all its own: tilt and lens err alike in all."""
FADING = 1.1
"""Variance grows by this factor from sighting to sighting: the object may have been pushed, the pose has drifted."""
RECALLED_SIGMA = 0.1
"""How well the place of an object is known that was left a while ago (m)."""
SUREST = 0.02**2
"""No place is surer than this (m^2, in x and y)."""
VAGUE = 0.05
"""What is known no better than this (m, a standard deviation without the pose's) may be one that is known better."""
BEFORE_A_WALL = 0.03
"""What is seen stands at least so far (m) before a wall."""
PAST_AN_END, WRONG_BY = 0.15, 3.0
"""Nearer than this (m) to a wall's end a line of sight may pass it; a distance is wrong by so many sigma at most."""
SAME_PLACE, ALIKE = 0.25, math.radians(15.0)
"""What is seen this near (m) to where one of its kind was missed, neither vaguely, and from another side (rad), is that
again: something hides it that nobody knows of. So it is missed only from the side that it is seen from."""
PLAIN_SHARE = 0.7
"""Out to this share of the camera's farthest sight an object would surely be seen."""

LOOKING_SHARE = 0.75
"""Ground counts as looked at out to this share of the camera's farthest sight."""


@dataclass(slots=True)
class Remembered:
    """One object somewhere in the field: position (m), its covariance (m^2), how often it was seen and missed.

    ``base`` is the part of ``xx`` and ``yy`` that is the pose's: the same in all sightings, they do not average it out.
    ``barred`` says why it cannot be reached, '' where nothing speaks against it; ``unseen`` counts the frames since it
    was seen last, wherever the camera looked.
    """

    number: int
    kind: str
    x: float
    y: float
    xx: float
    xy: float
    yy: float
    base: float = 0.0
    sightings: int = 1
    misses: int = 0
    barred: str = ""
    unseen: int = 0

    @property
    def known(self) -> bool:
        """It was seen often enough to be believed in."""
        return self.sightings >= SIGHTINGS_TO_KNOW

    @property
    def is_vague(self) -> bool:
        """Its place is not known well, as from afar."""
        return max(self.xx, self.yy) - self.base > VAGUE * VAGUE

    def distance(self, x: float, y: float) -> float:
        """Distance (m) from a point."""
        return math.hypot(self.x - x, self.y - y)


@dataclass(frozen=True)
class FieldOfView:
    """The camera: ahead of the robot's middle (m), half its field of view (rad), nearest and farthest sight (m).

    Nearest and farthest are those at which an object of whichever kind is in the picture and found.
    """

    ahead: float
    half_view: float
    reach: float
    nearest: float

    def place(self, pose: Pose) -> tuple[float, float]:
        """Return where the camera is in the field."""
        return pose.x + self.ahead * math.cos(pose.heading), pose.y + self.ahead * math.sin(pose.heading)


class Sighting(NamedTuple):
    """A detection brought into the field, with its place relative to the robot's middle (ahead, left).

    ``base`` is the part of ``xx`` and ``yy`` that is the pose's.
    """

    detection: Detection
    ahead: float
    left: float
    x: float
    y: float
    xx: float
    xy: float
    yy: float
    base: float


def sight(detection: Detection, view: FieldOfView, pose: Pose, pose_sigma: float) -> Sighting:
    """Return where a detection stands in the field, with its covariance from the camera's and the pose's errors."""
    ahead = view.ahead + detection.distance * math.cos(detection.bearing)
    left = detection.distance * math.sin(detection.bearing)
    c, s = math.cos(pose.heading), math.sin(pose.heading)
    x, y = pose.x + ahead * c - left * s, pose.y + ahead * s + left * c
    direction = pose.heading + detection.bearing
    along, across = detection.distance_sigma**2, (detection.distance * detection.bearing_sigma) ** 2
    dc, ds = math.cos(direction), math.sin(direction)
    base = pose_sigma * pose_sigma
    xx, yy = along * dc * dc + across * ds * ds + base, along * ds * ds + across * dc * dc + base
    return Sighting(detection, ahead, left, x, y, xx, (along - across) * dc * ds, yy, base)


def before_walls(one: Sighting, eye: XY, walls: Sequence[tuple[XY, XY]]) -> Sighting:
    """Return a sighting that would stand behind a wall as just before it: nothing is seen through a wall.

    One that cannot be so much nearer to the eye is left as it is, since the wall then is not where it should be; and so
    is one that is seen past a wall's end.
    """
    distance = math.dist(eye, (one.x, one.y))
    back = 0.0
    for wall in walls:
        at = crossing(eye, (one.x, one.y), *wall)
        if at is not None and min(math.dist(at, end) for end in wall) > PAST_AN_END:
            back = max(back, distance - math.dist(eye, at) + BEFORE_A_WALL)
    if not 0.0 < back < min(distance, WRONG_BY * one.detection.distance_sigma + BEFORE_A_WALL):
        return one
    c, s = (one.x - eye[0]) / distance, (one.y - eye[1]) / distance
    ahead, left = back * math.cos(one.detection.bearing), back * math.sin(one.detection.bearing)
    return one._replace(ahead=one.ahead - ahead, left=one.left - left, x=one.x - back * c, y=one.y - back * s)


class TargetMemory:
    """The objects seen and not yet dealt with, in the order in which they were first seen.

    Attributes:
        view: of the camera.
        chosen: the target, and ``seen`` where it is in the newest frame.
        forgotten: those that were believed in, and are so no more; whoever tells of them takes them out.
        shown, missed: how often, in all steady frames, one that is believed in was seen, and how often it was not
            though it should have been in plain view.
    """

    def __init__(self, view: FieldOfView) -> None:
        self.view = view
        self.objects: list[Remembered] = []
        self.chosen: Remembered | None = None
        self.seen: Sighting | None = None
        self.forgotten: list[Remembered] = []
        self.shown = self.missed = 0
        self._numbers = 0
        self._missed_at: list[tuple[str, XY, XY]] = []  # kind, place, and from where
        self._seen_again: dict[int, XY] = {}  # by number: from where, last

    def update(self, sightings: Sequence[Sighting], pose: Pose, clear: ClearView | None) -> None:
        """Take one frame in.

        Args:
            sightings: what is in it, without what the jaws hold and what is done with.
            pose: of the frame's time.
            clear: what hides other places from the camera; None where absence means nothing, as in a fast turn.
        """
        met: dict[int, Sighting] = {}
        self.seen = None
        self._forget_doubtful()
        eye = self.view.place(pose)
        for sighting in sightings:
            remembered = self._join(sighting, met)
            if remembered.number in self._seen_again or self._is_seen_again(remembered, eye):
                self._seen_again[remembered.number] = eye
            met[remembered.number] = sighting
            if remembered is self.chosen:
                self.seen = sighting
        if clear is not None:
            self._forget_missing(met, pose, clear)

    def _join(self, sighting: Sighting, met: Mapping[int, Sighting]) -> Remembered:
        """Return the object that a sighting is of; ``met`` are those of the frame's earlier sightings."""
        nearest = self._nearest(sighting, met)
        if nearest is not None:
            _merge(nearest, sighting)
            return nearest
        _, _, _, x, y, xx, xy, yy, base = sighting
        new = Remembered(self._numbers, sighting.detection.kind, x, y, xx, xy, yy, base)
        self._numbers += 1
        self.objects.append(new)
        return new

    def _nearest(self, sighting: Sighting, met: Mapping[int, Sighting]) -> Remembered | None:
        """Return the object to which a sighting is nearest in sigmas, of those that it may be of."""
        nearest, least = None, math.inf
        for one in self.objects:
            dx, dy = sighting.x - one.x, sighting.y - one.y
            square = dx * dx + dy * dy
            if square > JOIN_AT_MOST * JOIN_AT_MOST or one.kind != sighting.detection.kind:
                continue
            sigmas = _square_sigmas(one, sighting, dx, dy)
            if sigmas > JOIN_SIGMAS * JOIN_SIGMAS and square > JOIN_DISTANCE * JOIN_DISTANCE:
                continue
            if sigmas < least and not (one.number in met and _are_two(met[one.number], sighting)):
                nearest, least = one, sigmas
        return nearest

    def _forget_doubtful(self) -> None:
        """Drop what was seen too seldom for an object; called before each frame."""
        for one in self.objects:
            one.unseen += 1
        self.objects = [one for one in self.objects if one.known or one.unseen <= FRAMES_TO_KNOW]
        if self._seen_again:
            kept = {one.number for one in self.objects}
            self._seen_again = {number: eye for number, eye in self._seen_again.items() if number in kept}

    def _forget_missing(self, met: Mapping[int, Sighting], pose: Pose, clear: ClearView) -> None:
        eye_x, eye_y = eye = self.view.place(pose)
        nearest, farthest = self.view.nearest, PLAIN_SHARE * self.view.reach
        for one in list(self.objects):
            if one.number in met:
                self.shown += one.known
                continue
            dx, dy = one.x - eye_x, one.y - eye_y
            if not nearest < math.hypot(dx, dy) < farthest:
                continue
            if abs(wrap(math.atan2(dy, dx) - pose.heading)) >= 0.75 * self.view.half_view:
                continue
            doubt = math.sqrt(max(one.xx, one.yy))
            if self._may_be_missed_from(eye, one) and clear.reaches(eye, (one.x, one.y), doubt):
                one.misses += 1
                self.missed += one.known
                if one.misses >= MISSES_TO_FORGET and not one.is_vague:
                    self._missed_at.append((one.kind, (one.x, one.y), eye))
                if one.misses >= MISSES_TO_FORGET or not one.known:
                    self.forget(one)

    def _may_be_missed_from(self, eye: XY, one: Remembered) -> bool:
        """Tell whether an object would be seen from a place (m) if it still stood there, and nothing known hides it."""
        seen_from = self._seen_again.get(one.number)
        return seen_from is None or one.is_vague or _are_alike((one.x, one.y), eye, seen_from)

    def _is_seen_again(self, one: Remembered, eye: XY) -> bool:
        """Tell whether an object is one that was missed from another side."""
        return one.sightings == 1 and any(
            kind == one.kind and one.distance(*place) < SAME_PLACE and not _are_alike(place, eye, missed_from)
            for kind, place, missed_from in self._missed_at
        )

    def recall(self, kind: str, x: float, y: float) -> Remembered:
        """Remember an object again where it was left (m); it need not be seen anew to be believed in."""
        variance = RECALLED_SIGMA**2
        recalled = Remembered(self._numbers, kind, x, y, variance, 0.0, variance, sightings=SIGHTINGS_TO_KNOW)
        self.objects.append(recalled)
        self._numbers += 1
        return recalled

    def forget(self, one: Remembered) -> None:
        """Drop an object; if it was the target there is none now."""
        if one in self.objects:
            self.objects.remove(one)
            if one.known:
                self.forgotten.append(one)
        if self.chosen is one:
            self.chosen = None
            self.seen = None

    def forget_vaguer(self, better: Remembered) -> list[Remembered]:
        """Drop, and return, what was seen so vaguely that it can be an object kept elsewhere that is known better."""
        vaguer = [one for one in self.objects if one.kind == better.kind and _may_be(one, better)]
        for one in vaguer:
            self.forget(one)
        return vaguer

    def others(self) -> Iterable[Remembered]:
        """Return what is remembered besides the target: to be driven round."""
        return [one for one in self.objects if one is not self.chosen and one.known]


def _are_alike(place: XY, eye: XY, other: XY) -> bool:
    """Tell whether a place is seen from the same side from two others."""
    turn = math.atan2(eye[1] - place[1], eye[0] - place[0]) - math.atan2(other[1] - place[1], other[0] - place[0])
    return abs(wrap(turn)) < ALIKE


def _are_two(one: Sighting, other: Sighting) -> bool:
    return math.hypot(one.ahead - other.ahead, one.left - other.left) > APART


def _may_be(one: Remembered, better: Remembered) -> bool:
    """Tell whether an object can be another that is known better; one whose place is sure enough is its own."""
    square = _square_sigmas(one, better, better.x - one.x, better.y - one.y)
    return one.is_vague and square < JOIN_SIGMAS * JOIN_SIGMAS


def _square_sigmas(one: Remembered, other: Sighting | Remembered, dx: float, dy: float) -> float:
    """Return the square of the Mahalanobis distance between an object and what is seen (dx, dy) from it (m)."""
    xx, xy, yy = one.xx + other.xx, one.xy + other.xy, one.yy + other.yy
    return (yy * dx * dx - 2.0 * xy * dx * dy + xx * dy * dy) / (xx * yy - xy * xy)


def _merge(one: Remembered, sighting: Sighting) -> None:
    """Join a sighting to an object: the mean weighted by the inverse of their covariances, never surer than 2 cm.

    A bearing is much surer than a distance: sightings from places abreast sharpen the distance by triangulation. The
    weighing is the update of R. E. Kalman, "A New Approach to Linear Filtering and Prediction Problems", 1960.
    """
    base, fading = sighting.base, FADING
    xx, xy, yy = fading * (one.xx - one.base) + 1e-5, fading * one.xy, fading * (one.yy - one.base) + 1e-5
    sum_xx, sum_xy, sum_yy = (
        xx + SIGHTINGS_AS_ONE * (sighting.xx - base),
        xy + SIGHTINGS_AS_ONE * sighting.xy,
        yy + SIGHTINGS_AS_ONE * (sighting.yy - base),
    )
    determinant = sum_xx * sum_yy - sum_xy * sum_xy
    gain_xx, gain_xy = (xx * sum_yy - xy * sum_xy) / determinant, (xy * sum_xx - xx * sum_xy) / determinant
    gain_yx, gain_yy = (xy * sum_yy - yy * sum_xy) / determinant, (yy * sum_xx - xy * sum_xy) / determinant
    dx, dy = sighting.x - one.x, sighting.y - one.y
    one.x += gain_xx * dx + gain_xy * dy
    one.y += gain_yx * dx + gain_yy * dy
    one.xx = max(xx - gain_xx * xx - gain_xy * xy + base, SUREST)
    one.yy = max(yy - gain_yx * xy - gain_yy * yy + base, SUREST)
    one.xy = xy - gain_xx * xy - gain_xy * yy
    one.base = base
    one.sightings += 1
    one.misses = one.unseen = 0
