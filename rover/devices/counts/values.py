"""What wheel encoders report."""

from typing import NamedTuple


class WheelCounts(NamedTuple):
    """Cumulative encoder counts since the device's boot; forwards is positive. ``boot`` changes when it restarts."""

    left: int
    right: int
    boot: int = 0
