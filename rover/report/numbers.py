"""Numbers as the tables show them."""

import math

UNKNOWN = "\u2013"  # en dash
TIMES = "\u00d7"


def metres(value: float) -> str:
    """Return a length (m) to the millimetre."""
    return _written(value, 3)


def millimetres(value: float) -> str:
    """Return a length (m) in whole millimetres."""
    return _written(value * 1000, 0)


def degrees(value: float) -> str:
    """Return an angle (rad) in whole degrees."""
    return _written(math.degrees(value), 0)


def _written(value: float, digits: int) -> str:
    return with_minus(f"{value:z.{digits}f}") if math.isfinite(value) else UNKNOWN


def clock(nanoseconds: int) -> str:
    """Return a span of time as minutes and seconds, such as 12:03.4."""
    tenths = round(nanoseconds / 1e8)
    return f"{tenths // 600}:{tenths // 10 % 60:02d}.{tenths % 10}"


def with_minus(number: str) -> str:
    """Return the number with a true minus sign, which is as wide as a digit."""
    return number.replace("-", "\u2212")
