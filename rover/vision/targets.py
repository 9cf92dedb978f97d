"""Objects remembered in field coordinates, and the choice of one of them.

A detection is brought into the field through the pose of the time its frame was taken; it joins the nearest
remembered object of its kind, or begins a new one. What should be in plain view and is not, is forgotten.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from rover.devices.readings import Detection
from rover.estimate.pose import Pose
from rover.quantities import clamp, wrap

SIGHTINGS_TO_KNOW = 3
"""Frames in which an object must have been seen before it is believed in."""
MISSES_TO_FORGET = 12
"""Frames in a row in which an object is in plain view and not seen, before it is forgotten."""
JOIN_DISTANCE = 0.15
"""Two sightings of one kind nearer than this (m, and than three sigma) are one object."""
CLEARLY_BETTER = 0.6
"""Another object must be this share of the target's distance or nearer to take its place..."""
FRAMES_TO_SWITCH = 5
"""... in so many frames in a row."""
PLAIN_SHARE = 0.7
"""Out to this share of the camera's farthest sight an object would surely be seen."""
TURN_COST = 0.15
"""Metres of driving that a radian of turning counts as, when targets are ranked."""


@dataclass(slots=True)
class Remembered:
    """One object somewhere in the field: position (m), its covariance (m^2), how often it was seen and missed."""

    number: int
    kind: str
    x: float
    y: float
    xx: float
    xy: float
    yy: float
    sightings: int = 1
    misses: int = 0

    @property
    def known(self) -> bool:
        """It was seen often enough to be believed in."""
        return self.sightings >= SIGHTINGS_TO_KNOW

    def distance(self, x: float, y: float) -> float:
        """Distance (m) from a point."""
        return math.hypot(self.x - x, self.y - y)


@dataclass(frozen=True)
class Eye:
    """The camera: ahead of the robot's middle (m), half its field of view (rad), nearest and farthest sight (m)."""

    ahead: float
    half_view: float
    reach: float
    nearest: float

    def place(self, pose: Pose) -> tuple[float, float]:
        """Return where the camera is in the field."""
        return pose.x + self.ahead * math.cos(pose.heading), pose.y + self.ahead * math.sin(pose.heading)


class Sighting(NamedTuple):
    """A detection brought into the field, with its place relative to the robot's middle (ahead, left)."""

    detection: Detection
    ahead: float
    left: float
    x: float
    y: float
    xx: float
    xy: float
    yy: float


def sight(detection: Detection, eye: Eye, pose: Pose, pose_sigma: float) -> Sighting:
    """Return where a detection stands in the field, with its covariance from the camera's and the pose's errors."""
    ahead = eye.ahead + detection.distance * math.cos(detection.bearing)
    left = detection.distance * math.sin(detection.bearing)
    c, s = math.cos(pose.heading), math.sin(pose.heading)
    x, y = pose.x + ahead * c - left * s, pose.y + ahead * s + left * c
    direction = pose.heading + detection.bearing
    along, across = detection.distance_sigma**2, (detection.distance * detection.bearing_sigma) ** 2
    dc, ds = math.cos(direction), math.sin(direction)
    base = pose_sigma * pose_sigma
    return Sighting(
        detection,
        ahead,
        left,
        x,
        y,
        along * dc * dc + across * ds * ds + base,
        (along - across) * dc * ds,
        along * ds * ds + across * dc * dc + base,
    )


class TargetMemory:
    """The objects seen and not yet dealt with, in the order in which they were first seen."""

    def __init__(self, eye: Eye) -> None:
        self.eye = eye
        self.objects: list[Remembered] = []
        self.chosen: Remembered | None = None
        self.seen: Sighting | None = None
        self._numbers = 0
        self._rival: tuple[int, int] = (-1, 0)

    def update(self, sightings: Sequence[Sighting], pose: Pose, steady: bool) -> None:
        """Take one frame in.

        Args:
            sightings: what is in it, without what the jaws hold and what is done with.
            pose: of the frame's time.
            steady: the robot turned slowly enough for absence to mean something.
        """
        met: set[int] = set()
        self.seen = None
        for sighting in sightings:
            remembered = self._join(sighting)
            met.add(remembered.number)
            if remembered is self.chosen:
                self.seen = sighting
        if steady:
            self._forget_missing(met, pose)

    def _join(self, sighting: Sighting) -> Remembered:
        same = [one for one in self.objects if one.kind == sighting.detection.kind]
        nearest = min(same, key=lambda one: one.distance(sighting.x, sighting.y), default=None)
        if nearest is not None and self._is_same(nearest, sighting):
            _merge(nearest, sighting)
            return nearest
        new = Remembered(
            self._numbers, sighting.detection.kind, sighting.x, sighting.y, sighting.xx, sighting.xy, sighting.yy
        )
        self._numbers += 1
        self.objects.append(new)
        return new

    @staticmethod
    def _is_same(remembered: Remembered, sighting: Sighting) -> bool:
        spread = 3.0 * math.sqrt(max(remembered.xx + sighting.xx, remembered.yy + sighting.yy))
        return remembered.distance(sighting.x, sighting.y) <= max(JOIN_DISTANCE, min(spread, 0.6))

    def _forget_missing(self, met: set[int], pose: Pose) -> None:
        eye_x, eye_y = self.eye.place(pose)
        nearest, farthest = self.eye.nearest, PLAIN_SHARE * self.eye.reach
        gone = []
        for one in self.objects:
            if one.number in met:
                continue
            dx, dy = one.x - eye_x, one.y - eye_y
            if not nearest < math.hypot(dx, dy) < farthest:
                continue
            if abs(wrap(math.atan2(dy, dx) - pose.heading)) < 0.75 * self.eye.half_view:
                one.misses += 1
                if one.misses >= MISSES_TO_FORGET or not one.known:
                    gone.append(one)
        for one in gone:
            self.forget(one)

    def forget(self, one: Remembered) -> None:
        """Drop an object; if it was the target there is none now."""
        if one in self.objects:
            self.objects.remove(one)
        if self.chosen is one:
            self.chosen = None
            self.seen = None

    def choose(self, pose: Pose, kinds: Sequence[str] | None) -> None:
        """Choose a target if there is none; let another take its place only when clearly better for some frames.

        Args:
            pose: the robot's.
            kinds: the kinds that may be fetched now, first come first; None for any.
        """
        best = self._best(pose, kinds)
        if self.chosen is None or best is None or best is self.chosen:
            self._rival = (-1, 0)
            self.chosen = self.chosen or best
            return
        better = self._cost(best, pose) < CLEARLY_BETTER * self._cost(self.chosen, pose)
        frames = self._rival[1] + 1 if self._rival[0] == best.number else 1
        self._rival = (best.number, frames) if better else (-1, 0)
        if better and frames >= FRAMES_TO_SWITCH:
            self.chosen, self.seen, self._rival = best, None, (-1, 0)

    def _best(self, pose: Pose, kinds: Sequence[str] | None) -> Remembered | None:
        known = [one for one in self.objects if one.known]
        if kinds is not None:
            first = next((kind for kind in kinds if any(one.kind == kind for one in known)), None)
            known = [one for one in known if one.kind == first]
        return min(known, key=lambda one: self._cost(one, pose), default=None)

    @staticmethod
    def _cost(one: Remembered, pose: Pose) -> float:
        turn = abs(wrap(math.atan2(one.y - pose.y, one.x - pose.x) - pose.heading))
        return one.distance(pose.x, pose.y) + TURN_COST * turn

    def others(self) -> Iterable[Remembered]:
        """Return what is remembered besides the target: to be driven round."""
        return [one for one in self.objects if one is not self.chosen and one.known]


def _merge(one: Remembered, sighting: Sighting) -> None:
    """Join a sighting to an object: the mean weighted by the inverse of each axis' variance, never surer than 2 cm."""
    one.x, one.xx = _weighed(one.x, one.xx, sighting.x, sighting.xx)
    one.y, one.yy = _weighed(one.y, one.yy, sighting.y, sighting.yy)
    limit = 0.95 * math.sqrt(one.xx * one.yy)
    one.xy = clamp(0.5 * (one.xy + sighting.xy), -limit, limit)
    one.sightings += 1
    one.misses = 0


def _weighed(mine: float, my_variance: float, theirs: float, their_variance: float) -> tuple[float, float]:
    """Return the mean of two places along one axis (m), weighted by the inverse of their variances, and its variance.

    An old place is worth less each time: the pose has drifted since, and the object may have been pushed.
    """
    my_variance = my_variance * 1.1 + 1e-5
    share = my_variance / (my_variance + their_variance)
    return mine + share * (theirs - mine), max((1.0 - share) * my_variance, 4e-4)
