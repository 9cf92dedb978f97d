"""Kinds of value: what a signal, a setting or a parameter may be."""

import math
from dataclasses import dataclass
from typing import Any

from rover import quantities
from rover.quantities import Dimension

NOT_KNOWN = math.nan
"""Stands for a value that is not known now, of whatever kind: it equals nothing, itself included."""


@dataclass(frozen=True)
class Truth:
    """A value that is true or false."""

    def __str__(self) -> str:
        return "a yes or no"


@dataclass(frozen=True)
class Number:
    """A number of a dimension; ``whole`` ones are counted, so that ``==`` means something."""

    dimension: Dimension = quantities.NONE
    whole: bool = False

    def __str__(self) -> str:
        return "a whole number" if self.whole else quantities.name_of(self.dimension)


@dataclass(frozen=True)
class Choice:
    """One of some words; None stands for words that are only known with the errand (the kinds of object)."""

    words: frozenset[str] | None = None

    def __str__(self) -> str:
        return "one of " + ", ".join(sorted(self.words)) if self.words else "a word"


@dataclass(frozen=True)
class PlaceName:
    """A place in the field: a name such as ``field.start``, or a point ``[1 m, 2 m]``."""

    def __str__(self) -> str:
        return "a place"


@dataclass(frozen=True)
class WallName:
    """The name of one of the errand's walls."""

    def __str__(self) -> str:
        return "the name of a wall"


Kind = Truth | Number | Choice | PlaceName | WallName


def empty(kind: Kind) -> Any:
    """Return what stands for a value before there is one."""
    match kind:
        case Truth():
            return False
        case Number(whole=True):
            return 0
        case Number():
            return float("nan")
        case _:
            return "none"
