"""Getting free of what jams the robot: back along the way it came, else the other ways, in small pieces."""

import math
from typing import NamedTuple

from rover.activities.activity import Knowledge
from rover.activities.places import CLEAR, Manner, barest_clearance, clearance_from, stands_in_jaws
from rover.geometry import Pose
from rover.motion.keep_clear import CREEP
from rover.motion.request import Request
from rover.quantities import wrap

AWAY, AWAY_SPEED, AWAY_FOR = 0.12, 0.08, 6.0
"""A jammed robot backs away so far (m), so fast (m/s), for so long (s) at most; then it looks for another way ..."""
AWAY_FROM_ECHO = 0.36
"""... and so far (m) from what it hears: from there silence means a free way again (`rover.motion.echo.CLOSE`)."""
TURN, TURN_RATE = math.radians(25.0), math.radians(30.0)
"""So far and so fast it turns to get free."""
EDGE_TURNS = tuple(math.radians(degrees) for degrees in (0, 4, -4, 8, -8, 16, -16))
EDGE_WAYS = (0.15, -0.15, 0.3, -0.3)
"""By such a turn (rad) and such a way (m) it edges away from what it stands too near to for turning round ..."""
EDGE_GAIN = 0.01
"""... if there is so much more room (m) at its end."""
MOVES_WITHIN, LEAST = 2.0, 0.2
"""What has not made this share of a piece within so long (s) is jammed as well."""


class Piece(NamedTuple):
    """A straight way (m, backwards negative), or a turn on the spot (rad, left positive)."""

    way: float = 0.0
    angle: float = 0.0


def pieces_from(known: Knowledge, jammed: Piece, far: float = AWAY) -> list[list[Piece]]:
    """Return the pieces that lead out of a jam: one of each list has to be made, the first ones first.

    Args:
        known: what the robot knows.
        jammed: the motion that led into it; only its sense counts.
        far: how far (m) to go away from what was met straight on.
    """
    if jammed.angle:
        return [[Piece(angle=-math.copysign(TURN, jammed.angle))], [Piece(-AWAY), Piece(AWAY)]]
    clearance = clearance_from(known, known.pose)
    turns = [Piece(angle=TURN), Piece(angle=-TURN)]
    turns.sort(key=lambda piece: not clearance.can_turn(known.pose, piece.angle))
    return [[Piece(-math.copysign(far, jammed.way)), *turns]]


def backing_off(known: Knowledge) -> list[list[Piece]]:
    """Return the way back on which what stands between the open jaws comes out of them, and clear of them; none where
    that is not free, or nothing stands there."""
    front = known.space.outlines[0].parts[-1].front
    way = known.robot.body.gripper_reach - front - 0.5 * known.errand.widest - CLEAR
    is_free = (
        stands_in_jaws(known) and clearance_from(known, known.pose, Manner(CREEP)).along(known.pose, way) is not None
    )
    return [[Piece(way)]] if is_free else []


def edging_away(known: Knowledge) -> list[list[Piece]]:
    """Return a small turn and a straight way that lead farthest off what the robot stands close to; none: none does."""
    clearance, pose = barest_clearance(known), known.pose
    most, best = clearance.at(pose) + EDGE_GAIN, Piece()
    for angle in EDGE_TURNS:
        if not clearance.can_turn(pose, angle):
            continue
        turned = pose._replace(heading=pose.heading + angle)
        for way in EDGE_WAYS:
            room = clearance.at(Pose(*turned.beside(way, 0.0), turned.heading))
            if room > most and clearance.along(turned, way) is not None:
                most, best = room, Piece(way, angle)
    pieces = [Piece(angle=best.angle), Piece(best.way)]
    return [[piece] for piece in pieces if any(piece)]


class GettingFree:
    """The part of other activities that gets free. Whether it did or not, at its end another way is to be looked for.

    Args:
        known: what the robot knows.
        pieces: of `pieces_from` or `edging_away`.
        feels: no room is left for what the position may be off.
    """

    def __init__(self, known: Knowledge, pieces: list[list[Piece]], *, feels: bool = False) -> None:
        self.feels = feels
        self._pieces = pieces
        self._begin(known)

    def _begin(self, known: Knowledge) -> None:
        self._from = known.pose
        self._seconds = 0.0

    def request(self, known: Knowledge) -> Request | None:
        """Return what is wanted, None at the end."""
        self._seconds += known.seconds
        if self._pieces:
            self._look(known, self._pieces[0][0])
        if not self._pieces:
            return None
        way, angle = self._pieces[0][0]
        speed = math.copysign(AWAY_SPEED, way) if way else 0.0
        turn_rate = math.copysign(TURN_RATE, angle) if angle else 0.0
        return Request(speed, turn_rate, range_blocked=known.loaded, feels=self.feels)

    def _look(self, known: Knowledge, piece: Piece) -> None:
        """Go on to the next list where a piece is made, and to the next piece where it cannot be."""
        made = self._made(known, piece)
        if made >= 1.0 or self._seconds > AWAY_FOR:
            self._pieces = self._pieces[1:]
        elif (known.is_stalled and self._seconds > 0.5) or (made < LEAST and self._seconds > MOVES_WITHIN):
            others = self._pieces[0][1:]
            self._pieces = [others, *self._pieces[1:]] if others else self._pieces[1:]
        else:
            return
        self._begin(known)

    def _made(self, known: Knowledge, piece: Piece) -> float:
        """Return how much of a piece is made, as a share."""
        if piece.angle:
            return abs(wrap(known.pose.heading - self._from.heading)) / abs(piece.angle)
        return math.hypot(known.pose.x - self._from.x, known.pose.y - self._from.y) / abs(piece.way)
