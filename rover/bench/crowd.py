"""The objects that stand about: how they give way to the robot, to each other, and not to walls and posts."""

import math
from collections.abc import Callable

from rover.bench.floor import Solids
from rover.bench.objects import Piece

ROUNDS = 8
"""So often it is tried to get all of them apart before they count as jammed."""
SETTLED = 0.0005
"""Moved by less than this (m) in a round, they are apart."""

Push = Callable[[Piece], tuple[float, float] | None]
"""Returns where the robot pushes a piece that it has run into; None: it does not touch it."""


class Crowd:
    """The objects to fetch, on a floor with walls and posts.

    Attributes:
        pieces: in the order of their numbers.
        touched: those that have been moved since somebody last emptied it, in the order in which they were.
    """

    def __init__(self, pieces: list[Piece], solids: Solids) -> None:
        self.pieces = pieces
        self.touched: dict[Piece, None] = {}
        self._solids = solids

    def give_way(self, near: list[Piece], push: Push) -> bool:
        """Move what the robot has run into, and what that runs into; return False if there is no room for it.

        Then nothing has moved. What stands against a wall slides along it, unless it is pushed straight at it.
        """
        before: dict[Piece, tuple[float, float]] = {}
        for _ in range(ROUNDS):
            moved = 0.0
            for piece in near:
                place = push(piece)
                if place is not None:
                    moved = max(moved, math.dist(place, (piece.x, piece.y)))
                    self._shift(piece, place, before)
            if not before:
                return True
            corrected = self._settle(before)
            if corrected == 0.0 or max(moved, corrected) < SETTLED:
                return True
        for piece, (x, y) in before.items():
            piece.x, piece.y = x, y
        return False

    def depth(self, near: list[Piece], push: Push) -> float:
        """Return how far (m) the robot and those near it are in each other's way, all ways together."""
        places = ((piece, push(piece)) for piece in near)
        return sum(math.dist(place, (piece.x, piece.y)) for piece, place in places if place is not None)

    def knock(self, piece: Piece, x: float, y: float) -> None:
        """Have a piece fly aside, as far as there is room."""
        before: dict[Piece, tuple[float, float]] = {}
        self._shift(piece, (x, y), before)
        for _ in range(ROUNDS):
            if self._settle(before) < SETTLED:
                return

    def _shift(self, piece: Piece, place: tuple[float, float], before: dict[Piece, tuple[float, float]]) -> None:
        """Put a piece elsewhere, and those that it runs into out of its way."""
        before.setdefault(piece, (piece.x, piece.y))
        self.touched[piece] = None
        x, y = piece.x, piece.y = place
        for other in self.pieces:
            dx, dy = other.x - x, other.y - y
            apart, least = math.hypot(dx, dy), piece.radius + other.radius
            if other is not piece and not other.held and 0.0 < apart < least:
                before.setdefault(other, (other.x, other.y))
                self.touched[other] = None
                other.x, other.y = x + dx / apart * least, y + dy / apart * least

    def _settle(self, before: dict[Piece, tuple[float, float]]) -> float:
        """Move pieces out of walls and posts, and others out of their way; return the longest way (m) that one went."""
        longest = 0.0
        for piece, start in [*before.items()]:
            place = self._solids.kept_off(piece.radius, start, (piece.x, piece.y))
            way = math.dist(place, (piece.x, piece.y))
            if way > 0.0:
                longest = max(longest, way)
                self._shift(piece, place, before)
        return longest
