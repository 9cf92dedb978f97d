"""Where a way may end."""

from typing import NamedTuple


class Goal(NamedTuple):
    """Where a way may end: place (m), heading (rad; None: any), and what ending there costs besides (m of way)."""

    x: float
    y: float
    heading: float | None = None
    cost: float = 0.0
