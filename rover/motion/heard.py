"""What stands where echoes come from, though neither map nor camera tells of it: posts, crates, walls nobody drew.

An echo tells how far off something stands, and not where in the range finder's cone. So it may stand anywhere on an
arc, but not where the ground is known to be free; turning, and going on, leaves less and less of the arc. What is
heard beyond it from quite another side takes nothing away: a wall is heard from about its normal only. (Arcs that free
ground is cut from: common practice with ultrasonic range finders, no source.)
"""

import math
from collections import deque
from collections.abc import Iterable, Sequence
from typing import NamedTuple

from rover.geometry import XY, Pose
from rover.motion.echo import STRAY_ECHOES
from rover.motion.explored import JUMP, STEP, Explored, cell_at, middle_of

AGREE, WITHIN_NS = 0.1, 1_000_000_000
"""So many echoes as one needs for not being a stray one differ by no more than this (m), and came in no longer time, if
they come from one thing."""
WIDEST = 0.2
"""An arc that reaches farther than this (m) to either side of its middle tells too little."""
FARTHEST = 1.2
"""Farther off than this (m) nothing is taken note of: it is heard again from nearer."""
DEPTHS = (0.02, 0.08, 0.14)
"""What echoes stands so far (m) beyond where the echo comes from: only its face is heard, and it has a back."""
NEAR = 1.5
"""What stands farther from the robot than this (m) bars no way yet."""
FOR_NS = 1_800_000_000_000
"""What was heard may be gone after so long; that the ground is seen to be free tells sooner."""
SAME = 0.12
"""What is known to stand so near (m) to an arc is what was heard."""


class Arc(NamedTuple):
    """Where an echo comes from: so far (m) from a range finder's face, in its cone of half an angle (rad)."""

    device: str
    face: Pose
    distance: float
    half_beam: float
    taken_ns: int

    def may_be(self, place: XY) -> bool:
        """Tell whether the echo may come from something at a place."""
        dx, dy = place[0] - self.face.x, place[1] - self.face.y
        away = math.hypot(dx, dy)
        if abs(away - self.distance) >= SAME:
            return False
        aside = abs(math.remainder(math.atan2(dy, dx) - self.face.heading, math.tau))
        return aside * away < self.half_beam * away + SAME

    def rays(self) -> list[list[XY]]:
        """Return places on the arc and behind it, by direction, no farther apart than leaves no square out."""
        farthest = self.distance + DEPTHS[-1]
        count = max(1, math.ceil(2.0 * self.half_beam * farthest / STEP))
        turns = [self.face.heading + self.half_beam * (2.0 * index / count - 1.0) for index in range(count + 1)]
        return [[self._at(turn, self.distance + depth) for depth in DEPTHS] for turn in turns]

    def _at(self, turn: float, way: float) -> XY:
        return self.face.x + way * math.cos(turn), self.face.y + way * math.sin(turn)


class Heard:
    """What was heard to stand somewhere, as squares of the ground, each with the last arc that it is on.

    Args:
        explored: the ground that is known to be free.
    """

    def __init__(self, explored: Explored) -> None:
        self._explored = explored
        self._arcs: dict[int, Arc] = {}
        self._last: dict[str, deque[Arc]] = {}

    def hear(self, arc: Arc) -> None:
        """Take in an echo of something that is not known of."""
        if arc.distance > FARTHEST or arc.half_beam * arc.distance > WIDEST:
            return
        last = self._last.setdefault(arc.device, deque(maxlen=STRAY_ECHOES))
        last.append(arc)
        ways = [one.distance for one in last]
        if len(last) == STRAY_ECHOES and max(ways) - min(ways) < AGREE and arc.taken_ns - last[0].taken_ns < WITHIN_NS:
            self._stand_on(arc)

    def hear_other(self, device: str) -> None:
        """Take it that a range finder hears nothing, or what is known of: an echo before it was a stray one."""
        self._last.pop(device, None)

    def _stand_on(self, arc: Arc) -> None:
        """Something stands on an arc: where the ground is not known to be free, if there is such a place on it.

        That at its edges it is not known says nothing: a cone shows no ground to be free there.
        """
        rays = [[cell_at(*place) for place in ray] for ray in arc.rays()]
        inner = rays[1:-1] or rays
        has_come = all(self._is_free(cell) for ray in inner for cell in ray)
        for ray in rays:
            for cell in ray:
                if has_come or not self._is_free(cell):
                    self._arcs[cell] = arc

    def _is_free(self, cell: int) -> bool:
        """Tell whether a square is known to be free, and not only because nothing was heard there."""
        return bool(self._explored.free_at_ns(cell))

    def forget(self, place: XY) -> None:
        """Forget what may have been something at a place (m) that stands there no more."""
        self._arcs = {cell: arc for cell, arc in self._arcs.items() if not arc.may_be(place)}

    def doubt(self, device: str) -> None:
        """Forget what a range finder said that is not believed any more."""
        self._arcs = {cell: arc for cell, arc in self._arcs.items() if arc.device != device}

    def moved(self, before: Pose, after: Pose) -> None:
        """A fix has moved the position."""
        if math.hypot(after.x - before.x, after.y - before.y) > JUMP:
            self._arcs.clear()

    def standing(self, near: XY, now_ns: int, known: Iterable[XY], within: float = NEAR) -> list[XY]:
        """Return places (m) near the robot where something stands that is none of the things ``known`` to stand."""
        found: list[tuple[XY, Arc]] = []
        gone = []
        x, y = near
        for cell, arc in self._arcs.items():
            place = middle_of(cell)
            if abs(place[0] - x) > within or abs(place[1] - y) > within or math.dist(place, near) > within:
                continue
            if self._stands(cell, arc, now_ns):
                found.append((place, arc))
            else:
                gone.append(cell)
        for cell in gone:
            del self._arcs[cell]
        return _others(found, list(known)) if found else []

    def _stands(self, cell: int, arc: Arc, now_ns: int) -> bool:
        is_recent = now_ns - arc.taken_ns < FOR_NS
        return is_recent and not self._explored.is_cleared(cell, arc.taken_ns, arc.face.heading)


def _others(found: Iterable[tuple[XY, Arc]], things: Sequence[XY]) -> list[XY]:
    """Return the places on arcs that none of the things explains."""
    is_known: dict[Arc, bool] = {}
    others = []
    for place, arc in found:
        if arc not in is_known:
            is_known[arc] = any(arc.may_be(thing) for thing in things)
        if not is_known[arc]:
            others.append(place)
    return others
