"""A search over places and sixteen headings: steps ahead and back, turns on the spot between neighbouring headings."""

import heapq
import math
from collections.abc import Callable, Sequence

from rover.geometry import XY, Pose
from rover.motion.disc_ways import dearness
from rover.motion.free_space import Clearance
from rover.motion.goal import Goal
from rover.motion.legs import COMFORT, free_turn
from rover.quantities import wrap

WEIGHT = 1.4
TURN_COST = 0.2
"""A turn by a radian costs as much as so many metres ahead ..."""
TIGHT_TURN = 3.0
"""... and up to so many times as much more, the less room there is: doorways are passed straight, not turned in."""
BACK_COST = 3.0
"""A metre back costs as much as so many ahead: nothing looks there."""
NEXT = 0.5
"""A heading of the lattice that is nearer than this (rad) to another one is next to it."""

_UPPER = ((1, 0), (2, 1), (1, 1), (1, 2), (0, 1), (-1, 2), (-1, 1), (-2, 1))
MOVES = (*_UPPER, *((-x, -y) for x, y in _UPPER))
HEADINGS = tuple(math.atan2(y, x) for x, y in MOVES)
_WAYS = tuple(math.hypot(x, y) for x, y in MOVES)
_COUNT = len(MOVES)
_TURNS = tuple(wrap(HEADINGS[(index + 1) % _COUNT] - HEADINGS[index]) for index in range(_COUNT))
_HALF = 1 << 20

ToGo = Callable[[int, int], float]
"""Returns what a way from a column and row of the lattice costs at least, infinite where it leads nowhere."""


class LatticeSearch:
    """One search (A*, P. E. Hart, N. J. Nilsson and B. Raphael, "A Formal Basis for the Heuristic Determination of
    Minimum Cost Paths", 1968; with a weight on what is still to go, I. Pohl, "Heuristic search viewed as path finding
    in a graph", 1970: the way may be `WEIGHT` times as dear as the best one). Both from memory.

    Args:
        clearance: what keeps the outline clear.
        start: where it begins; a point of the lattice.
        step: between points of the lattice (m).
        goals: where it may end.
        to_go: what is still to go.

    Attributes:
        nodes: settled so far.
    """

    def __init__(self, clearance: Clearance, start: Pose, step: float, goals: Sequence[Goal], to_go: ToGo) -> None:
        self._clearance, self._start, self._step, self._goals, self._to_go = clearance, start, step, goals, to_go
        self.nodes = 0
        self._costs: dict[int, float] = {}
        self._from: dict[int, int] = {}
        self._rooms: dict[int, float] = {}
        self._settled: set[int] = set()
        self._open: list[tuple[float, int]] = []
        for index, heading in enumerate(HEADINGS):
            angle = wrap(heading - start.heading)
            if abs(angle) < NEXT and clearance.can_turn(start, angle):
                self._reach(_node(0, 0, index), TURN_COST * abs(angle), -1)

    @property
    def is_exhausted(self) -> bool:
        """All that can be reached has been."""
        return not self._open

    def work(self) -> tuple[int, Goal] | None:
        """Settle one node more; return it with the goal that is there, None: there is none."""
        _, node = heapq.heappop(self._open)
        if node in self._settled:
            return None
        self._settled.add(node)
        self.nodes += 1
        goal = self._reached(node)
        if goal is not None:
            return node, goal
        self._expand(node)
        return None

    def way_to(self, node: int) -> tuple[list[Pose], list[float]]:
        """Return the poses from the start to a node, and the room (m) beyond what is due at each but the start."""
        nodes = [node]
        while self._from[nodes[-1]] >= 0:
            nodes.append(self._from[nodes[-1]])
        nodes.reverse()
        return [self._start, *(self._pose(one) for one in nodes)], [self._room(one) for one in nodes]

    def _pose(self, node: int) -> Pose:
        return Pose(*self._place(node), HEADINGS[node % _COUNT])

    def _place(self, node: int) -> XY:
        column, row, _ = _parts(node)
        return self._start.x + column * self._step, self._start.y + row * self._step

    def _reach(self, node: int, cost: float, before: int) -> None:
        if cost >= self._costs.get(node, math.inf):
            return
        column, row, _ = _parts(node)
        to_go = self._to_go(column, row)
        if to_go < math.inf:
            self._costs[node], self._from[node] = cost, before
            heapq.heappush(self._open, (cost + WEIGHT * to_go, node))

    def _room(self, node: int) -> float:
        """Return the room at a node beyond what is due, -inf where it is barred."""
        room = self._rooms.get(node)
        if room is None:
            room = self._rooms[node] = self._clearance.if_free(self._pose(node))
        return room

    def leads_to(self, other: "FromGoals") -> bool:
        """Tell whether a node that was reached is among those from which the goals are."""
        return not other.nodes.isdisjoint(self._costs)

    def is_free(self, node: int) -> bool:
        """Tell whether the outline may be at a node."""
        return self._room(node) > -math.inf

    def goal_nodes(self) -> list[int]:
        """Return the nodes that are at a goal."""
        nodes = []
        for goal in self._goals:
            column, row = (goal.x - self._start.x) / self._step, (goal.y - self._start.y) / self._step
            places = {
                (x, y) for x in (math.floor(column), math.ceil(column)) for y in (math.floor(row), math.ceil(row))
            }
            nodes += [_node(*place, index) for place in sorted(places) for index in range(_COUNT)]
        return [node for node in nodes if self.is_free(node) and self._reached(node) is not None]

    def _expand(self, node: int) -> None:
        column, row, index = _parts(node)
        dx, dy = MOVES[index]
        way = _WAYS[index] * self._step
        self._move(node, _node(column + dx, row + dy, index), way, 1.0)
        self._move(node, _node(column - dx, row - dy, index), way, BACK_COST)
        for other, angle in (((index + 1) % _COUNT, _TURNS[index]), (index - 1, _TURNS[index - 1])):
            to = _node(column, row, other % _COUNT)
            tightness = max(0.0, 1.0 - max(0.0, self._room(to)) / COMFORT)
            self._move(node, to, abs(angle) * TURN_COST, 1.0 + TIGHT_TURN * tightness)

    def _move(self, node: int, to: int, way: float, factor: float) -> None:
        if to in self._settled:
            return
        room = self._room(to)
        if room > -math.inf:
            dear = dearness(room, self._clearance.unknown(self._pose(to)))
            self._reach(to, self._costs[node] + way * (factor - 1.0 + dear), node)

    def _reached(self, node: int) -> Goal | None:
        """Return the goal that is at a node, if any: nearer than half a step, and to be turned to."""
        pose = self._pose(node)
        for goal in self._goals:
            if max(abs(goal.x - pose.x), abs(goal.y - pose.y)) <= 0.5 * self._step + 1e-9:
                there = Pose(goal.x, goal.y, pose.heading)
                if goal.heading is None or self._can_turn_to(there, goal.heading):
                    return goal
        return None

    def _can_turn_to(self, pose: Pose, heading: float) -> bool:
        return abs(wrap(heading - pose.heading)) < NEXT and free_turn(self._clearance, pose, heading) is not None


class FromGoals:
    """The nodes from which the goals are reached, found from the goals on: every move can be made backwards.

    Where a goal stands in a pocket these are few, and not all others need be searched to know that none leads there.

    Args:
        search: the search that the goals are those of.

    Attributes:
        nodes: found so far.
    """

    def __init__(self, search: LatticeSearch) -> None:
        self._search = search
        self._open = search.goal_nodes()
        self.nodes = set(self._open)

    @property
    def is_exhausted(self) -> bool:
        """All have been found."""
        return not self._open

    def holds(self, column: int, row: int) -> bool:
        """Tell whether one at a place has been found."""
        return any(_node(column, row, index) in self.nodes for index in range(_COUNT))

    def work(self) -> None:
        """Find those next to one more."""
        column, row, index = _parts(self._open.pop())
        dx, dy = MOVES[index]
        for node in (
            _node(column + dx, row + dy, index),
            _node(column - dx, row - dy, index),
            _node(column, row, (index + 1) % _COUNT),
            _node(column, row, (index - 1) % _COUNT),
        ):
            if node not in self.nodes and self._search.is_free(node):
                self.nodes.add(node)
                self._open.append(node)


def _node(column: int, row: int, index: int) -> int:
    return ((column + _HALF) * (2 * _HALF) + row + _HALF) * _COUNT + index


def _parts(node: int) -> tuple[int, int, int]:
    places, index = divmod(node, _COUNT)
    column, row = divmod(places, 2 * _HALF)
    return column - _HALF, row - _HALF, index
