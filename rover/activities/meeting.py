"""What a robot meets: where something may stand that it pushed at, turned against, or heard."""

import math

from rover.activities.activity import Knowledge
from rover.activities.getting_free import Piece
from rover.activities.legs_driven import LegsDriven
from rover.activities.places import MET_RADIUS
from rover.activities.touching import fix_by_touch, is_near_met
from rover.geometry import XY

NEAR_WALL, WALL_TOUCHES = 0.05, 2
"""What is touched where a known wall may be, by what the position may be off and so much more (m), is that wall, and no
other thing; for so many times on one way."""
HEARD_ACROSS = 0.08
"""What is heard is taken to reach so far (m) to either side: an echo does not tell."""


class Meeting:
    """Enters what a robot meets on one way.

    Attributes:
        walls: so often it was taken for a wall of the map, a little aside of where it should be.
    """

    def __init__(self) -> None:
        self.walls = 0

    def jam(self, known: Knowledge, legs: LegsDriven, *, is_felt: bool) -> bool:
        """Enter what the robot was jammed by on its legs; tell whether it knows better where it is for it.

        What it touches where it feels its way (``is_felt``) is on the map, and not where it was thought to be. With a
        load that may yet be the only way home; else, or near something that is on no map, it is not tried again.
        """
        if known.is_stalled and self.walls < WALL_TOUCHES and fix_by_touch(known, legs.motion):
            self.walls += 1
            return True
        if known.is_stalled:
            touch = Touch(known, legs.turns, back=legs.are_back)
            if not is_felt:
                self._touch(known, touch)
            elif not known.loaded or is_near_met(known):
                touch.enter(known)
        elif known.obstacle and not is_felt:
            known.ledger.obstacles.heard(heard(known), known.now_ns)
        return False

    def turn(self, known: Knowledge, turn: float) -> None:
        """Enter what the robot turned against, with so much left to turn (rad)."""
        if not fix_by_touch(known, Piece(angle=turn)):
            self._touch(known, Touch(known, turn))

    def _touch(self, known: Knowledge, touch: "Touch") -> None:
        """Enter what was touched, unless a wall of the map explains it."""
        near = NEAR_WALL + 2.0 * known.filter.position_doubt.worst
        if self.walls < WALL_TOUCHES and any(known.space.disc_room(*place) < near for place in touch.places):
            self.walls += 1
        else:
            touch.enter(known)


class Touch:
    """What the robot touched: at one of some places if it turned by an angle (rad), along all of them if it pushed.

    Attributes:
        places: where (m).
    """

    def __init__(self, known: Knowledge, turn: float, *, back: bool = False) -> None:
        self.places = _before_corners(known, turn) if turn else _along_end(known, back)
        self._is_at_one = bool(turn)

    def enter(self, known: Knowledge) -> None:
        """Enter it into the ledger."""
        obstacles = known.ledger.obstacles
        if self._is_at_one:
            obstacles.touched_at_one_of(self.places, known.now_ns)
        else:
            obstacles.touched(self.places, known.now_ns)


def _along_end(known: Knowledge, back: bool) -> list[XY]:
    """Return where (m) something may stand that the robot pushed at: along the whole of its front, or of its rear."""
    outline = known.space.outlines[known.loaded]
    part = outline.parts[0] if back else max(outline.parts, key=lambda one: one.front)
    ahead = part.back - MET_RADIUS if back else part.front + MET_RADIUS
    half = part.half_width
    return [known.pose.beside(ahead, left) for left in (-half, 0.0, half)]


def _before_corners(known: Knowledge, turn: float) -> list[XY]:
    """Return where (m) something may stand that a turn (rad) ran into: before the corners, which all lead in it.

    It is what was touched there before, if anything was. Those before which the ground is known to be free are left
    out, unless it is so before all.
    """
    parts, side = known.space.outlines[known.loaded].parts, math.copysign(1.0, turn)
    body, front = parts[0], max(parts, key=lambda part: part.front)
    corners = [(part.front, side * part.half_width) for part in parts]
    corners += [(front.front, -side * front.half_width)]
    corners += [(body.back, one * body.half_width) for one in (-side, side)]
    places = []
    for ahead, left in corners:
        before = side * MET_RADIUS / math.hypot(ahead, left)
        places.append(known.pose.beside(ahead - before * left, left + before * ahead))
    again = [place for place in places if known.ledger.obstacles.was_touched_at(place)]
    places = again or places
    unknown = [place for place in places if not known.explored.holds(place)]
    return unknown or places


def heard(known: Knowledge) -> list[XY]:
    """Return where (m) what the range finder hears may stand: across the middle of the robot's lane."""
    body = known.robot.body
    front = max(0.5 * body.length, body.gripper_reach)
    gap = min(max(0.0, known.gap_ahead), known.robot.limits.stop_gap)
    return [known.pose.beside(front + gap, left) for left in (-HEARD_ACROSS, 0.0, HEARD_ACROSS)]
