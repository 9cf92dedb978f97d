"""What a heading sensor reports."""

from typing import NamedTuple


class HeadingValue(NamedTuple):
    """Absolute orientation: rad and rad/s, counter-clockwise positive; calibration from 0 (none) to 3 (full)."""

    angle: float
    rate: float | None = None
    calibration: int | None = None
