"""A range finder that hears known walls farther off than they are, on two sides of the robot: it tells too much.

A robot that is elsewhere than it believes is nearer to the one wall by as much as it is farther from the opposite one;
and it would be by chance that it is equally far beyond where it should be from two that meet in a corner. By how far
walls are beyond counts from where the robot was before what was told of walls has moved the position: a wall that
is told 30 cm too far off again and again is believed at last, and would then contradict nobody.
"""

import math
from collections.abc import Sequence
from typing import NamedTuple

from rover.estimate.covariance import STATES

BEYOND = 0.1
"""So much (m) farther off than it should be a wall is not that wall..."""
SIGMAS = 4.0
"""... and so many standard deviations of where the robot is, across it."""
ECHOES = 3
"""So many echoes of two walls together tell: one alone is a stray one."""
ALIKE = 0.06
"""They are equally far beyond two walls where that differs by no more than this (m)."""
TWO_SIDES, OPPOSITE = math.radians(60.0), math.radians(135.0)
"""Walls in directions this far from each other (rad) meet in a corner; this far, they are opposite."""
WITHIN_WAY = 1.0
"""On a longer way (m) the position becomes another one, and what was heard before tells nothing of it."""


class Wall(NamedTuple):
    """A known wall that should be heard: how far off (m) and in which direction (rad, field frame).

    ``sigma`` is the standard deviation of the position across it (m), and ``moves`` by how much fixes by walls have
    moved each state of the pose filter so far.
    """

    distance: float
    direction: float
    sigma: float
    moves: Sequence[float] = (0.0,) * STATES


class _Side(NamedTuple):
    """Echoes from beyond walls in about one direction (rad): how far beyond (m) the last was, and where on the way."""

    direction: float
    beyond: float
    echoes: int
    way: float

    def tells_with(self, other: "_Side") -> bool:
        """Tell whether the robot cannot stand so that both are right."""
        apart = _apart(self.direction, other.direction)
        are_alike = abs(self.beyond - other.beyond) < ALIKE
        return self.echoes + other.echoes >= ECHOES and apart > (TWO_SIDES if are_alike else OPPOSITE)


class Beyond:
    """One range finder's echoes of known walls, by the side of the robot on which they are."""

    def __init__(self) -> None:
        self._way = 0.0
        self._sides: list[_Side] = []
        self._heard: list[tuple[float, Wall]] = []  # where on the way (m)

    def move(self, way: float) -> None:
        """Account for the robot's way (m)."""
        self._way += way

    @property
    def moves(self) -> list[float]:
        """By how much fixes by walls have moved each state of late."""
        if not self._heard:
            return [0.0] * STATES
        (_, first), (_, last) = self._heard[0], self._heard[-1]
        return [now - then for now, then in zip(last.moves, first.moves, strict=True)]

    def hear(self, distance: float, wall: Wall) -> str:
        """Take in an echo (m) where a wall should be heard; return what is wrong with the range finder, or ''."""
        sides = [one for one in self._sides if self._way - one.way < WITHIN_WAY]
        there = [one for one in sides if _apart(one.direction, wall.direction) < TWO_SIDES]
        self._sides = [one for one in sides if one not in there]
        self._heard = [one for one in self._heard if self._way - one[0] < WITHIN_WAY] + [(self._way, wall)]
        x, y = self.moves[:2]
        beyond = distance - wall.distance - x * math.cos(wall.direction) - y * math.sin(wall.direction)
        sigma = max(one.sigma for _, one in self._heard if _apart(one.direction, wall.direction) < TWO_SIDES)
        if beyond < max(BEYOND, SIGMAS * sigma):  # as unsure as it was before it was moved
            return ""
        now = _Side(wall.direction, beyond, 1 + sum(one.echoes for one in there), self._way)
        is_told = any(now.tells_with(one) for one in self._sides)
        self._sides.append(now)
        return "hears known walls on two sides farther off than they are" if is_told else ""


def _apart(one: float, other: float) -> float:
    return abs(math.remainder(one - other, math.tau))
