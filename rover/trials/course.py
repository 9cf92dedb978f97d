"""What a rehearsal's course shows of how the robot moved: samples of it, and what is measured of them."""

import math
from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import NamedTuple

COASTS_S = 1.0
"""So long a body may roll on: no way to zero takes more than 300 ms, and then five time constants of 150 ms go by."""
WINDOW = 5
"""A speed is that over so many samples, half a second: one step's is the grain of the bench."""


class Sample(NamedTuple):
    """How it is at a time, about ten times a second.

    Attributes:
        at_s: s from the start.
        duty: the greater of both sides' (0 to 1), the greatest since the sample before.
        x, y, heading: where the robot truly is (m, m, rad, field frame).
    """

    at_s: float
    duty: float
    x: float
    y: float
    heading: float


def driven_s(samples: Sequence[Sample], since_s: float, until_s: float = math.inf) -> float:
    """Return how long (s) the wheels were commanded to turn after ``since_s`` and up to ``until_s``."""
    return sum(now.at_s - before.at_s for before, now in _between(samples, since_s, until_s) if now.duty)


def last_driven_s(samples: Sequence[Sample]) -> float:
    """Return the time (s) from which on the wheels were commanded zero to the end; 0 if they were never driven."""
    return max((one.at_s for one in samples if one.duty), default=0.0)


def rolled_m(samples: Sequence[Sample], arm: float) -> float:
    """Return the way (m) of the farther wheel while nothing commanded it, and it had had `COASTS_S` to come to rest.

    ``arm`` (m) is how far that wheel is from the middle about which the robot turns.
    """
    way, driven_at_s = 0.0, -math.inf
    for before, now in pairwise(samples):
        if now.duty:
            driven_at_s = now.at_s
        elif before.at_s - driven_at_s >= COASTS_S:
            turned = math.remainder(now.heading - before.heading, math.tau)
            way += math.dist(before[2:4], now[2:4]) + arm * abs(turned)
    return way


def fastest_m_s(samples: Sequence[Sample], since_s: float, until_s: float = math.inf) -> float:
    """Return the greatest speed (m/s) of the robot's middle between two times, over half a second each."""
    within = [one for one in samples if since_s < one.at_s <= until_s]
    spans = zip(within, within[WINDOW:], strict=False)
    return max((math.dist(a[2:4], b[2:4]) / (b.at_s - a.at_s) for a, b in spans), default=0.0)


def _between(samples: Sequence[Sample], since_s: float, until_s: float) -> Iterator[tuple[Sample, Sample]]:
    return ((before, now) for before, now in pairwise(samples) if before.at_s >= since_s and now.at_s <= until_s)
