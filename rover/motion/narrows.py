"""Passing what is narrow straight along its middle.

A way over a lattice passes a doorway beside its middle, by up to half a step, and aslant where it goes on to one side:
each takes of the room that the doorway leaves. So the narrowest pose of a leg with little room is moved aside and
turned, a little at a time, to where a straight passage through it leaves most room, and the way is led through that.
"""

import math
from collections.abc import Sequence

from rover.geometry import XY, Pose, distance_to_segment
from rover.motion.free_space import Clearance
from rover.motion.goal import Goal
from rover.motion.legs import COMFORT, Leg, can_end, free_turn
from rover.quantities import wrap

ASIDE, TURN = 0.01, math.radians(5.0)
"""A passage is moved aside (m) or turned (rad) by so much at a time ..."""
BETTER = 0.002
"""... where that leaves so much more room (m)."""
LONG = 1.5
"""Half a passage is so many times as long as the outline's radius: the narrowest pose is not just in the middle."""
_CHANGES = ((ASIDE, 0.0), (-ASIDE, 0.0), (0.0, TURN), (0.0, -TURN))
NEARBY = 1.2
"""Where the way turned nearer to a passage's middle than so many times half its length it does so no more ..."""
KEPT = ((0, 0), (1, 0), (0, 1), (1, 1))
"""... but for the first so many turns and the last; what does first."""


class Narrows:
    """Leads a way along the middle of what is narrow. `work` until it tells that all is done.

    Args:
        clearance: what keeps the outline clear.
        start: where the way begins.
        legs: of the way.
        goal: where it ends.

    Attributes:
        legs: as they are by now.
    """

    def __init__(self, clearance: Clearance, start: Pose, legs: Sequence[Leg], goal: Goal) -> None:
        self._clearance, self._start, self._goal = clearance, start, goal
        self.legs = list(legs)
        self._looked_at: set[Leg] = set()
        self._passages: list[_Passage] = []
        self._kept: list[tuple[int, int]] = []

    def work(self) -> bool:
        """Do a little; tell whether all is done."""
        if self._kept:
            passage = self._passages[-1]
            if passage.is_best or passage.widen():
                self._lead_through(passage, *self._kept.pop(0))
            return False
        tight = [leg for leg in self.legs if leg.room < COMFORT and leg not in self._looked_at]
        if not tight:
            return True
        self._look_at(min(tight, key=lambda leg: leg.room))
        return False

    def _look_at(self, leg: Leg) -> None:
        """Begin with a passage through a leg's narrowest pose, if there was none yet near it."""
        self._looked_at.add(leg)
        pose = self._narrowest(leg)
        if not any(passage.is_near(pose[:2], 1.0) for passage in self._passages):
            self._passages.append(_Passage(self._clearance, pose))
            self._kept = list(KEPT)

    def _narrowest(self, leg: Leg) -> Pose:
        begin = self._begin(self.legs.index(leg))
        way = math.dist(begin[:2], (leg.x, leg.y))
        begin = begin._replace(heading=wrap(begin.heading + leg.turn))
        at = self._clearance.narrowest(begin, -way if leg.back else way)
        return Pose(*begin.beside(at or 0.0, 0.0), begin.heading)

    def _lead_through(self, passage: "_Passage", kept_first: int, kept_last: int) -> None:
        """Lead the way through a passage instead of where it turns near that, if it leaves more room."""
        turns = [index for index, leg in enumerate(self.legs[:-1]) if passage.is_near((leg.x, leg.y), NEARBY)]
        first, last = (turns[0], turns[-1] + 1) if turns else (self._crossing(passage),) * 2
        first, last = first + kept_first, last - kept_last
        if first > last:
            return
        old = min([leg.room for leg in self.legs[first : last + 1]])
        legs = self._through(passage, first, last) if passage.room > old + BETTER else None
        if legs is not None and min([leg.room for leg in legs[first : first + 3]]) > old + BETTER:
            self.legs = legs
            self._kept.clear()

    def _crossing(self, passage: "_Passage") -> int:
        """Return the leg that is nearest to a passage's middle."""
        ends = [self._begin(index)[:2] for index in range(len(self.legs))]
        ways = [distance_to_segment(passage.pose[:2], end, leg[:2]) for end, leg in zip(ends, self.legs, strict=True)]
        return ways.index(min(ways))

    def _through(self, passage: "_Passage", first: int, last: int) -> list[Leg] | None:
        """Return the legs with three through a passage in the place of some; None where that is not free."""
        leg, after = self.legs[last], self.legs[last + 1 :]
        begin, end = passage.begin_and_end(-1.0 if leg.back else 1.0)
        legs, at = self.legs[:first], self._begin(first)
        for x, y, back in ((*begin, self.legs[first].back), (*end, leg.back), leg[:3]):
            before, through = at, self._leg(at, (x, y), back)
            if through is None:
                return None
            legs.append(through)
            at = Pose(x, y, wrap(at.heading + through.turn))
        if not after:
            return legs if can_end(self._clearance, before, legs[-1], self._goal) else None
        turn = free_turn(self._clearance, at, wrap(self._begin(last + 1).heading + after[0].turn))
        return None if turn is None else [*legs, after[0]._replace(turn=turn), *after[1:]]

    def _begin(self, index: int) -> Pose:
        """Return the pose at which a leg begins, before it turns: that at which the one before ends."""
        heading = wrap(self._start.heading + sum([leg.turn for leg in self.legs[:index]]))
        x, y = (self._start.x, self._start.y) if index == 0 else self.legs[index - 1][:2]
        return Pose(x, y, heading)

    def _leg(self, at: Pose, end: XY, back: bool) -> Leg | None:
        """Return the leg from a pose to a place, None where it is not free."""
        way = math.dist(at[:2], end)
        towards = math.atan2(end[1] - at.y, end[0] - at.x)
        heading = wrap(towards + math.pi) if back else towards
        turn = free_turn(self._clearance, at, heading)
        room = self._clearance.along(Pose(at.x, at.y, heading), -way if back else way)
        return None if turn is None or room is None else Leg(*end, back, turn, room)


class _Passage:
    """A straight way through a pose.

    Attributes:
        pose: in its middle.
        room: that it leaves beyond what is due, -inf where it is barred.
    """

    def __init__(self, clearance: Clearance, pose: Pose) -> None:
        self._clearance, self.pose, self._change, self._failed = clearance, pose, 0, 0
        self._half = LONG * clearance.radius
        self.room = self._room(pose)

    @property
    def is_best(self) -> bool:
        """No change leaves more room, or it is enough."""
        return self._failed == len(_CHANGES) or self.room >= COMFORT

    def widen(self) -> bool:
        """Try a change; tell whether it is the best by now."""
        aside, turn = _CHANGES[self._change]
        there = Pose(*self.pose.beside(0.0, aside), wrap(self.pose.heading + turn))
        room = self._room(there)
        if room > self.room + BETTER:
            self.pose, self.room, self._failed = there, room, 0
        else:
            self._change, self._failed = (self._change + 1) % len(_CHANGES), self._failed + 1
        return self.is_best

    def is_near(self, place: XY, times: float) -> bool:
        """Tell whether a place (m) is nearer to its middle than so many times half its length."""
        return math.dist(self.pose[:2], place) < times * self._half

    def begin_and_end(self, sense: float) -> tuple[XY, XY]:
        """Return where it begins and ends, driven ahead (1) or back (-1)."""
        return self.pose.beside(-sense * self._half, 0.0), self.pose.beside(sense * self._half, 0.0)

    def _room(self, pose: Pose) -> float:
        room = self._clearance.along(Pose(*pose.beside(-self._half, 0.0), pose.heading), 2.0 * self._half)
        return -math.inf if room is None else room
