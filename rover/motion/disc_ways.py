"""How far it is to the goals from each place, for a disc as wide as the body: about what a way costs at least.

Nodes are settled in the order of their distance (E. W. Dijkstra, "A Note on Two Problems in Connexion with Graphs",
1959), from the goals on, so that a goal behind walls without a door is known to be so.
"""

import heapq
import math
from collections.abc import Sequence

from rover.geometry import XY, Pose
from rover.motion.free_space import Clearance
from rover.motion.goal import Goal

FARTHER = 4.0
"""Places from which it is so much farther (m) than from the start are left out."""
NEAR, NEAR_COST = 0.15, 2.0
"""With less room than this (m) a metre costs more, up to so many times more where there is none left."""
UNKNOWN_COST = 6.0
"""A metre costs so much more where nobody knows what stands there, and nothing is heard ahead: it is gone gently."""
_STEPS = tuple((x, y, math.hypot(x, y), math.atan2(-y, -x)) for x in (-1, 0, 1) for y in (-1, 0, 1) if x or y)
"""Steps away from the goals, how long, and the heading (rad) in which they are gone towards them."""


def dearness(room: float, unknown: float) -> float:
    """Return how many times as dear as in the open a metre is with so much room (m) beyond what is due.

    ``unknown``: as `Clearance.unknown` tells.
    """
    return 1.0 + NEAR_COST * max(0.0, 1.0 - max(0.0, room) / NEAR) + UNKNOWN_COST * unknown


class DiscWays:
    """Distances to the nearest goal over a square lattice. `work` until ``is_over``.

    Args:
        clearance: what keeps the robot clear.
        start: where the robot is; a point of the lattice.
        step: of the lattice (m).
        goals: where the ways end.
    """

    def __init__(self, clearance: Clearance, start: Pose, step: float, goals: Sequence[Goal]) -> None:
        self._clearance, self._start, self._step = clearance, start, step
        self._costs: dict[tuple[int, int], float] = {}
        self._settled: dict[tuple[int, int], float] = {}
        self._rooms: dict[tuple[int, int], float] = {}
        self._open: list[tuple[float, int, int]] = []
        self._most = math.inf
        self.is_over = False
        for goal in goals:
            column, row = round((goal.x - start.x) / step), round((goal.y - start.y) / step)
            for dx in (-1, 0, 1):
                for dy in (-1, 0, 1):
                    self._reach(column + dx, row + dy, goal.cost + step * math.hypot(dx, dy))

    def work(self, nodes: int) -> bool:
        """Settle so many nodes at most; tell whether all is done."""
        while nodes > 0 and not self.is_over:
            cost, column, row = heapq.heappop(self._open) if self._open else (math.inf, 0, 0)
            if cost > self._most or cost == math.inf:
                self.is_over = True
                break
            if (column, row) in self._settled:
                continue
            nodes -= 1
            self._settled[column, row] = cost
            if column == row == 0:
                self._most = cost + FARTHER
            here = self._place(column, row)
            for dx, dy, way, heading in _STEPS:
                dear = dearness(self._rooms[column, row], self._clearance.unknown(Pose(*here, heading)))
                self._reach(column + dx, row + dy, cost + way * self._step * dear)
        return self.is_over

    def to_go(self, column: int, row: int) -> float:
        """Return the way (m) from a place to the nearest goal, infinite where none is known."""
        return self._settled.get((column, row), math.inf)

    def is_cut_off(self, column: int, row: int) -> bool:
        """Tell of a place whether it is known that no way leads there from the start, as none does to the goals."""
        return self.is_over and self._most == math.inf and (column, row) in self._settled

    def _reach(self, column: int, row: int, cost: float) -> None:
        place = column, row
        known = self._costs.get(place)
        if known is None:
            known = self._costs[place] = self._look(place)
        if cost < known:
            self._costs[place] = cost
            heapq.heappush(self._open, (cost, column, row))

    def _look(self, place: tuple[int, int]) -> float:
        """Look at a place for the first time; return the cost below which it may be reached."""
        room = self._rooms[place] = self._clearance.at_disc(self._place(*place))
        return math.inf if room > -math.inf else -math.inf

    def _place(self, column: int, row: int) -> XY:
        return self._start.x + column * self._step, self._start.y + row * self._step
