"""What a touch tells: the robot that runs into a wall of its map stands against that, wherever it thought it was."""

import math
from typing import NamedTuple

from rover.activities.activity import Knowledge
from rover.activities.getting_free import Piece
from rover.estimate.covariance import HEADING, X, Y
from rover.geometry import Pose
from rover.motion.outline import Barrier

WAY, ANGLE = 0.02, 0.05
"""Going on by so much (m, rad) brings it nearer to what it has run into ..."""
CLOSER = 0.2
"""... by no less than this share of the way, its corners' in a turn."""
SIGMA, SHARE = 0.015, 0.4
"""A touch is so good (m, standard deviation), and by this share of what the position was off worse: something else may
stand before the wall."""
NEAR = 2.0
"""What is farther off than so many standard deviations of the position it has not run into."""
PLAINLY = 3.0
"""Nor is it known which of two walls it was where the squares of these differ by less."""
BESIDE = 0.01
"""A wall that would then still be so far off (m) ends beside the robot: it may be what was touched."""
MET, ABOUT = 0.3, 0.05
"""Where something that is on no map was touched no farther than this (m) from the outline, there may be more of it: it
was that, and no wall of the map that should be farther off than the second."""
TINY = 1e-4


class _Touch(NamedTuple):
    """A wall that may have been run into: how far off it should be (m), the derivatives of that by x, y and heading,
    how unsure it is (m), and whether it ends beside the robot."""

    gap: float
    slopes: tuple[tuple[int, float], ...]
    sigma: float
    ends: bool

    @property
    def distance(self) -> float:
        return (self.gap / math.hypot(self.sigma, SIGMA)) ** 2

    def is_like(self, other: "_Touch") -> bool:
        return sum(a * b for (_, a), (_, b) in zip(self.slopes[:2], other.slopes[:2], strict=True)) > 0.9


def fix_by_touch(known: Knowledge, jammed: Piece) -> bool:
    """Correct the position by the wall of the map that a robot has run into; tell whether it is plain which.

    Args:
        known: what the robot knows.
        jammed: the motion that led into it; only its sense counts.
    """
    walls = (_touch(known, Barrier(*wall, "wall"), jammed) for wall in known.ground.walls)
    touches = sorted((one for one in walls if one is not None), key=lambda one: one.distance)
    if not touches or touches[0].distance > NEAR * NEAR:
        return False
    nearest = touches[0]
    if nearest.ends or any(one.distance < nearest.distance + PLAINLY and not one.is_like(nearest) for one in touches):
        return False
    if abs(nearest.gap) > ABOUT and is_near_met(known):
        return False
    variance = SIGMA * SIGMA + (SHARE * nearest.gap) ** 2
    if not known.filter.correct(nearest.slopes, -nearest.gap, variance):
        return False
    gap = nearest.gap
    where = f"{gap:.2f} m away" if gap >= 0.0 else f"{-gap:.2f} m inside the outline"
    known.note("touched", f"a wall of the map that should be {where}")
    return True


def is_near_met(known: Knowledge) -> bool:
    """Tell whether the robot stands near what it touched before, and took for no wall of the map."""
    outline = known.space.outlines[known.loaded]
    places = [(one.x, one.y) for one in known.ledger.obstacles.now(known.now_ns) if one.is_touched]
    return any(known.space.gap(outline, known.pose, Barrier(place, place, "met")) < MET for place in places)


def _touch(known: Knowledge, wall: Barrier, jammed: Piece) -> _Touch | None:
    """Return what a touch of a wall would tell; None if going on would not come nearer to it."""
    pose, outline = known.pose, known.space.outlines[known.loaded]

    def gap(at: Pose) -> float:
        return known.space.gap(outline, at, wall)

    if jammed.angle:
        least = ANGLE * outline.radius
        further = pose._replace(heading=pose.heading + math.copysign(ANGLE, jammed.angle))
    else:
        least = WAY
        further = Pose(*pose.beside(math.copysign(WAY, jammed.way), 0.0), pose.heading)
    here = gap(pose)
    if here - gap(further) < CLOSER * least:
        return None
    steps = ((X, (TINY, 0.0, 0.0)), (Y, (0.0, TINY, 0.0)), (HEADING, (0.0, 0.0, TINY)))
    slopes = tuple(
        (state, (gap(Pose(pose.x + x, pose.y + y, pose.heading + turn)) - here) / TINY) for state, (x, y, turn) in steps
    )
    (_, by_x), (_, by_y), _ = slopes
    against = gap(Pose(pose.x - here * by_x, pose.y - here * by_y, pose.heading))
    return _Touch(here, slopes, known.filter.sigma_of(slopes), abs(against) > BESIDE)
