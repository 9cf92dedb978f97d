"""What the drive is commanded."""

from typing import NamedTuple


class DriveCommand(NamedTuple):
    """Duty of the two motor channels, -1 to 1, forwards positive. Not valid after ``expires_ns``: then zero."""

    left: float
    right: float
    sequence: int
    expires_ns: int
