"""What a gripper reports, and what it is commanded."""

from typing import NamedTuple

SERVO_PERIOD_S = 0.02
"""A servo takes fifty pulses a second."""


class JawsValue(NamedTuple):
    """Jaw opening from 0 (closed) to 1 (open), and whether they closed on something; None where it is not known."""

    opening: float | None = None
    holding: bool | None = None


class JawsCommand(NamedTuple):
    """Wanted jaw opening, 0 (closed) to 1 (open); None lets the servo go limp. Not valid after ``expires_ns``."""

    opening: float | None
    sequence: int
    expires_ns: int
