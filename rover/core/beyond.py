"""A range finder that hears known walls farther off than they are, on two sides of the robot: it tells too much.

A robot that is elsewhere than it believes is nearer to the one wall by as much as it is farther from the opposite one;
and it would be by chance that it is equally far beyond where it should be from two that meet in a corner.
"""

import math
from typing import NamedTuple

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

    ``sigma`` is the standard deviation of the position across it (m).
    """

    distance: float
    direction: float
    sigma: float


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

    def move(self, way: float) -> None:
        """Account for the robot's way (m)."""
        self._way += way

    def hear(self, distance: float, wall: Wall) -> str:
        """Take in an echo (m) where a wall should be heard; return what is wrong with the range finder, or ''."""
        sides = [one for one in self._sides if self._way - one.way < WITHIN_WAY]
        there = [one for one in sides if _apart(one.direction, wall.direction) < TWO_SIDES]
        self._sides = [one for one in sides if one not in there]
        beyond = distance - wall.distance
        if beyond < max(BEYOND, SIGMAS * wall.sigma):
            return ""
        now = _Side(wall.direction, beyond, 1 + sum(one.echoes for one in there), self._way)
        is_told = any(now.tells_with(one) for one in self._sides)
        self._sides.append(now)
        return "hears known walls on two sides farther off than they are" if is_told else ""


def _apart(one: float, other: float) -> float:
    return abs(math.remainder(one - other, math.tau))
