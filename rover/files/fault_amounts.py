"""What stands behind a fault's words in a line: an amount with its unit, a share, a number or a point."""

from collections.abc import Callable
from functools import partial
from typing import Any, Final, NamedTuple

from rover import quantities
from rover.files.types import SHARE, point
from rover.quantities import ANGLE, LENGTH, NONE, TIME, TURN_RATE, VOLTAGE, Dimension


class Takes(NamedTuple):
    """What stands behind a fault's words: its name, an example, and how it is read (as a float or a point)."""

    words: str
    example: str
    read: Callable[[str], Any]


def _quantity(dimension: Dimension, example: str) -> Takes:
    return Takes(quantities.name_of(dimension), example, partial(quantities.parse_as, dimension=dimension))


def _not_negative(text: str, dimension: Dimension) -> float:
    amount = quantities.parse_as(text, dimension)
    if amount < 0.0:
        raise ValueError(f"'{text}' must not be negative")
    return amount


def _some(dimension: Dimension, example: str) -> Takes:
    return Takes(quantities.name_of(dimension), example, partial(_not_negative, dimension=dimension))


def _share(text: str) -> float:
    share = quantities.parse_as(text, NONE)
    if not 0.0 <= share <= 1.0:
        raise ValueError(f"'{text}' {SHARE}")
    return share


def _factor(text: str) -> float:
    factor = quantities.parse_as(text, NONE)
    if factor < 0.0:
        raise ValueError(f"'{text}' must not be negative")
    return factor


def _whole_number(text: str) -> float:
    try:
        return float(int(text))
    except ValueError:
        raise ValueError(f"'{text}' is no whole number") from None


def _point(text: str) -> tuple[float, float]:
    inner = text.removeprefix("[").removesuffix("]")
    return point([part.strip() for part in inner.split(",")] if len(inner) == len(text) - 2 else text)


A_SHARE: Final = Takes("a share", "50 %", _share)
A_FACTOR: Final = Takes("a factor", "0.5", _factor)
A_NUMBER: Final = Takes("a whole number", "400", _whole_number)
A_POINT: Final = Takes("a point", "[2 m, 1 m]", _point)
AN_ANGLE: Final = _quantity(ANGLE, "20 deg")
A_TURN_RATE: Final = _quantity(TURN_RATE, "0.5 deg/s")
A_LENGTH: Final = _quantity(LENGTH, "30 cm")
A_VOLTAGE: Final = _quantity(VOLTAGE, "1 V")
A_TIME: Final = _some(TIME, "300 ms")
SOME_ANGLE: Final = _some(ANGLE, "20 deg")
SOME_LENGTH: Final = _some(LENGTH, "30 cm")
SOME_VOLTAGE: Final = _some(VOLTAGE, "1 V")
