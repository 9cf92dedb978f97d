"""Ways for the whole body: straight legs and turns on the spot between poses, found in portions that are counted.

Where it can turn towards a goal and drive straight there with room enough, that is the way. Otherwise it is searched
for over places and headings (`lattice`). What is still to go is taken as the straight distance at first; where that
leads into dead ends, as the way of a disc as wide as the body (`disc_ways`), which also tells of a goal that no way
leads to. Of a goal that only the disc comes to, a search from the goals tells; a search over known ground is short, and
does without. The way found is cut short wherever a straight leg is free (`legs`), and led along the middle of what is
narrow (`narrows`).

The same calls give the same way: no clock is read.
"""

import math
from collections.abc import Sequence

from rover.geometry import XY, Pose
from rover.motion.disc_ways import DiscWays
from rover.motion.free_space import Clearance
from rover.motion.goal import Goal
from rover.motion.lattice import HEADINGS, TURN_COST, FromGoals, LatticeSearch
from rover.motion.legs import CutShort, Leg, can_end, leg_to
from rover.motion.narrows import Narrows

QUICK_NODES = 1_000
"""After so many nodes by straight distances the disc's ways are worked out ..."""
MOST_NODES = 40_000
"""... and after so many more the search is given up."""
MOST_FROM_GOALS = 10_000
"""With more nodes than this from which the goals are reached, they stand in no pocket."""
DISC_NODES, DISC_NODES_KNOWN = 4, 1
"""So many nodes of the disc's ways cost no more time than one of the body's, and so many where it is looked whether the
ground is known."""
LOOK_NODES, LOOK_NODES_KNOWN = 10, 30
"""Looking whether a straight leg is free costs as much time as so many nodes, and whether its ground is known."""
LEAD_NODES = 20
"""So does looking whether a passage may lie aside, or a way be led through it."""
BLINDLY = 0.1
"""Of a straight way to a goal, no larger share may be ground that nobody knows, and that nothing is heard from ..."""
KNOWN_NODES = 20_000
"""... or a search for a way over known ground goes before, of so many nodes; whoever finds none goes anywhere."""
ROOMY, ROOMIER, ROOMIER_NODES = 0.04, 0.02, 3_000
"""Where a straight leg leaves less room than the first (m), a way is searched for that leaves so much more (m), over so
many nodes."""
FINEST, CELLS_A_WIDTH = 0.05, 5
"""A step of the lattice is so long (m), or so small a part of the body's width."""


class WaySearch:
    """One search for a way. `work` until ``is_over``; then ``legs`` tells the way, None where there is none.

    Args:
        clearance: what keeps the outline clear, from the start of the way on.
        start: where it begins.
        goals: where it may end.
        width: of the body (m).

    Attributes:
        goal: the one at which the way ends.
    """

    def __init__(self, clearance: Clearance, start: Pose, goals: Sequence[Goal], width: float) -> None:
        self._clearance, self._start = clearance, start
        self._goals = [goal for goal in goals if has_room(clearance, goal)]
        self._step = min(FINEST, width / CELLS_A_WIDTH)
        self.legs: list[Leg] | None = None
        self.goal: Goal | None = None
        self._disc: DiscWays | None = None
        self._from_goals: FromGoals | None = None
        self._pocket: FromGoals | None = None
        self._cut: CutShort | None = None
        self._narrows: Narrows | None = None
        self.is_over = not self._goals or self._is_straight()
        self._left = self._most_nodes()
        if not self.is_over:
            self._lattice = LatticeSearch(clearance, start, self._step, self._goals, self._straight)

    def is_cut_off(self, place: XY) -> bool:
        """Tell of a place, where no way was found, whether it is known that none leads there either."""
        if self.legs is not None or self._disc is None:
            return False
        column, row = round((place[0] - self._start.x) / self._step), round((place[1] - self._start.y) / self._step)
        is_in_pocket = self._pocket is not None and self._pocket.holds(column, row)
        return is_in_pocket or self._disc.is_cut_off(column, row)

    def _most_nodes(self) -> int:
        if self.legs is not None:
            return ROOMIER_NODES
        return KNOWN_NODES if self._clearance.prefers_known else 1 << 62

    def work(self, nodes: int) -> None:
        """Go on with the search by so many nodes at most."""
        while nodes > 0 and not self.is_over:
            took = self._work_on()
            nodes, self._left = nodes - took, self._left - took
            if self._left <= 0 and self._cut is None:
                self.is_over = True

    def _work_on(self) -> int:
        """Do a little; return how many nodes' time that took."""
        if self._narrows is not None:
            if self._narrows.work():
                self._take(self._narrows.legs)
            return LEAD_NODES
        if self._cut is not None:
            if self._cut.work():
                self._narrows = Narrows(self._clearance, self._start, self._cut.legs, self._found)
            return LOOK_NODES_KNOWN if self._clearance.prefers_known else LOOK_NODES
        if self._disc is None:
            if self._lattice.is_exhausted or self._lattice.nodes >= QUICK_NODES:
                self._disc = DiscWays(self._clearance, self._start, self._step, self._goals)
                return 1
        elif not self._disc.is_over:
            if self._disc.work(DISC_NODES_KNOWN if self._clearance.prefers_known else DISC_NODES):
                self._lattice = LatticeSearch(self._clearance, self._start, self._step, self._goals, self._disc.to_go)
                self._from_goals = None if self._clearance.prefers_known else FromGoals(self._lattice)
            return 1
        elif self._lattice.is_exhausted or self._lattice.nodes >= MOST_NODES or self._is_pocket():
            self.is_over = True
            return 1
        self._search_on()
        return 1 if self._from_goals is None else 2

    def _is_pocket(self) -> bool:
        """Search on from the goals; tell whether all was found that leads to them, and the way begins elsewhere."""
        found = self._from_goals
        if found is None or len(found.nodes) > MOST_FROM_GOALS:
            self._from_goals = None
            return False
        if not found.is_exhausted:
            found.work()
            return False
        if self._lattice.leads_to(found):
            self._from_goals = None
            return False
        self._pocket = found
        return True

    def _search_on(self) -> None:
        found = self._lattice.work()
        if found is not None:
            node, self._found = found
            poses, rooms = self._lattice.way_to(node)
            poses[-1] = Pose(self._found.x, self._found.y, poses[-1].heading)
            self._cut = CutShort(self._clearance, poses, rooms, self._found)

    def _straight(self, column: int, row: int) -> float:
        """Return the straight way (m) from a place to the nearest goal."""
        x, y = self._start.x + column * self._step, self._start.y + row * self._step
        return min([math.hypot(goal.x - x, goal.y - y) + goal.cost for goal in self._goals])

    def _take(self, legs: list[Leg]) -> None:
        """Take the way that was found, if it is the only one or leaves more room than the straight one."""
        self.is_over = True
        if self.legs is None or min([leg.room for leg in legs], default=math.inf) > self.legs[0].room + ROOMIER:
            self.legs, self.goal = legs, self._found

    def _is_straight(self) -> bool:
        """Take the cheapest way that is one turn, one straight leg and a turn; tell whether there is one with room
        enough. One with little is kept in case that no other is found."""
        best = (True, math.inf)
        for goal in self._goals:
            leg = leg_to(self._clearance, self._start, (goal.x, goal.y))
            if leg is None or not can_end(self._clearance, self._start, leg, goal):
                continue
            way = math.hypot(goal.x - self._start.x, goal.y - self._start.y)
            cost = leg.room < ROOMY, goal.cost + way + TURN_COST * abs(leg.turn)
            if cost < best and self._clearance.unknown_way(self._start[:2], (goal.x, goal.y)) <= BLINDLY * way:
                best, self.legs, self.goal = cost, [leg], goal
        return not best[0]


def has_room(clearance: Clearance, goal: Goal) -> bool:
    """Tell whether the outline may be at a goal, in some heading if any will do."""
    headings = HEADINGS if goal.heading is None else (goal.heading,)
    return any(clearance.is_free(Pose(goal.x, goal.y, heading)) for heading in headings)
