"""Random numbers of the bench: one stream for each effect, so that switching one off leaves the others as they were."""

import math
from random import Random

from rover.files.types import Span

NEVER_NS = 1 << 62


def stream(seed: int | str, effect: str) -> Random:
    """Return the stream of one effect. The same seed and name give the same numbers on every machine."""
    return Random(f"{seed}/{effect}")


def drawn(span: Span, draws: Random) -> float:
    """Return a value out of a span, all values alike likely."""
    return draws.uniform(*span)


def aside(span: Span, draws: Random) -> tuple[float, float]:
    """Return a way (x, y) whose length is out of a span (m), in any direction."""
    way, direction = drawn(span, draws), draws.uniform(-math.pi, math.pi)
    return way * math.cos(direction), way * math.sin(direction)


class Episodes:
    """When something is wrong for a while: exponential gaps of mean ``every`` (s; 0: never), uniform lengths (s)."""

    def __init__(self, every: float, lasts: Span, draws: Random) -> None:
        self._every, self._lasts, self._draws = every, lasts, draws
        self.begins_ns = self.ends_ns = 0
        self._next()

    def _next(self) -> None:
        if self._every <= 0.0:
            self.begins_ns = self.ends_ns = NEVER_NS
            return
        self.begins_ns = self.ends_ns + round(self._draws.expovariate(1.0 / self._every) * 1e9)
        self.ends_ns = self.begins_ns + round(drawn(self._lasts, self._draws) * 1e9)

    def on(self, now_ns: int) -> bool:
        """Whether an episode is on at ``now_ns``; times asked for must not go back."""
        if now_ns < self.begins_ns:
            return False
        while now_ns >= self.ends_ns:
            self._next()
        return now_ns >= self.begins_ns
