"""What stands where echoes come from, though neither map nor camera tells of it: posts, crates, walls nobody drew.

An echo tells how far off something stands, and not where in the range finder's cone. So it may stand anywhere on an
arc, but not where the ground is known to be free; turning, and going on, leaves less and less of the arc. (Arcs that
free ground is cut from: common practice with ultrasonic range finders, no source.)
"""

import math
from collections import deque
from collections.abc import Iterable
from typing import NamedTuple

from rover.geometry import XY, Pose
from rover.motion.echo import STRAY_ECHOES
from rover.motion.explored import JUMP, STEP, Explored, cell_at, middle_of

AGREE = 0.1
"""So many echoes as one needs for not being a stray one differ by no more than this (m) if they come from one thing."""
WIDEST = 0.2
"""An arc that reaches farther than this (m) to either side of its middle tells too little."""
FARTHEST = 1.2
"""Farther off than this (m) nothing is taken note of: it is heard again from nearer."""
DEPTHS = (0.02, 0.08, 0.14)
"""What echoes stands so far (m) beyond where the echo comes from: only its face is heard, and it has a back."""
NEAR = 1.5
"""What stands farther from the robot than this (m) bars no way yet."""
FOR_NS = 300_000_000_000
"""What was heard may be gone after so long."""
SAME = 0.12
"""What is known to stand so near (m) to an arc is what was heard."""


class Arc(NamedTuple):
    """Where an echo comes from: so far (m) from a range finder's face, in its cone of half an angle (rad)."""

    face: Pose
    distance: float
    half_beam: float
    taken_ns: int

    def may_be(self, place: XY) -> bool:
        """Tell whether the echo may come from something at a place."""
        dx, dy = place[0] - self.face.x, place[1] - self.face.y
        away = math.hypot(dx, dy)
        aside = abs(math.remainder(math.atan2(dy, dx) - self.face.heading, math.tau))
        return abs(away - self.distance) < SAME and aside * away < self.half_beam * away + SAME

    def places(self) -> list[XY]:
        """Return places along the arc, no farther apart than leaves no square of the ground out."""
        farthest = self.distance + DEPTHS[-1]
        count = max(1, math.ceil(2.0 * self.half_beam * farthest / STEP))
        turns = [self.face.heading + self.half_beam * (2.0 * index / count - 1.0) for index in range(count + 1)]
        towards = [(math.cos(turn), math.sin(turn)) for turn in turns]
        ways = [self.distance + depth for depth in DEPTHS]
        return [(self.face.x + way * c, self.face.y + way * s) for way in ways for c, s in towards]


class Heard:
    """What was heard to stand somewhere, as squares of the ground, each with the last arc that it is on.

    Args:
        explored: the ground that is known to be free.
    """

    def __init__(self, explored: Explored) -> None:
        self._explored = explored
        self._arcs: dict[int, Arc] = {}
        self._last: dict[str, deque[float]] = {}

    def hear(self, device: str, arc: Arc | None) -> None:
        """Take in what a range finder hears: None for silence, and for what is known."""
        last = self._last.setdefault(device, deque(maxlen=STRAY_ECHOES))
        if arc is None or arc.distance > FARTHEST or arc.half_beam * arc.distance > WIDEST:
            last.clear()
            return
        last.append(arc.distance)
        if len(last) == STRAY_ECHOES and max(last) - min(last) < AGREE:
            self._stand_on(arc)

    def _stand_on(self, arc: Arc) -> None:
        """Something stands on an arc: where the ground is not known to be free, if there is such a place on it."""
        cells = [cell_at(*place) for place in arc.places()]
        unknown = [cell for cell in cells if self._explored.free_at_ns(cell) is None]
        for cell in unknown or cells:
            self._arcs[cell] = arc

    def moved(self, before: Pose, after: Pose) -> None:
        """A fix has moved the position."""
        if math.hypot(after.x - before.x, after.y - before.y) > JUMP:
            self._arcs.clear()

    def standing(self, near: XY, now_ns: int, known: Iterable[XY]) -> list[XY]:
        """Return places (m) near the robot where something stands that is none of the things ``known`` to stand."""
        things, is_known = list(known), dict[Arc, bool]()
        found, gone = [], []
        for cell, arc in self._arcs.items():
            place = middle_of(cell)
            if math.dist(place, near) > NEAR:
                continue
            if not self._stands(cell, arc, now_ns):
                gone.append(cell)
                continue
            if arc not in is_known:
                is_known[arc] = any(arc.may_be(thing) for thing in things)
            if not is_known[arc]:
                found.append(place)
        for cell in gone:
            del self._arcs[cell]
        return found

    def _stands(self, cell: int, arc: Arc, now_ns: int) -> bool:
        free_ns = self._explored.free_at_ns(cell)
        return now_ns - arc.taken_ns < FOR_NS and (free_ns is None or free_ns <= arc.taken_ns)
