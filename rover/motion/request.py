"""What an activity asks of wheels and jaws in one step."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import NamedTuple

FEEL = 0.06
"""Who feels for a wall goes no faster than this (m/s)."""
NONE: Mapping[str, float | bool] = MappingProxyType({})


class Request(NamedTuple):
    """Wanted motion; the limits have the last word.

    Attributes:
        speed: m/s, forwards positive.
        turn_rate: rad/s, counter-clockwise positive.
        jaws: wanted opening 0 (closed) to 1 (open); None leaves them as they are.
        expects_contact: what is close ahead is meant to be touched; speed is capped instead.
        feels: no room is kept for what the position may be off, as the last resort; no corner goes faster than `FEEL`.
        range_blocked: the range finder looks at something carried; it is left out and speed is capped.
        outputs: values for outputs of one's own, by name, which they keep until they are set again; SI units.
    """

    speed: float = 0.0
    turn_rate: float = 0.0
    jaws: float | None = None
    expects_contact: bool = False
    feels: bool = False
    range_blocked: bool = False
    outputs: Mapping[str, float | bool] = NONE


STILL = Request()
