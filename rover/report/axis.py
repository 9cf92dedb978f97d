"""An axis of a picture: where values lie, and round values to write along it."""

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class Axis:
    """From values to units of the picture: ``low`` lies at ``start``, ``high`` at ``end``."""

    low: float
    high: float
    start: float
    end: float

    def at(self, value: float) -> float:
        """Return where a value lies."""
        return self.start + (value - self.low) / (self.high - self.low) * (self.end - self.start)

    def ticks(self, most: int = 6) -> list[float]:
        """Return round values along it."""
        step = round_step((self.high - self.low) / most)
        first, last = math.ceil(self.low / step - 1e-9), math.floor(self.high / step + 1e-9)
        return [number * step for number in range(first, last + 1)]


def round_step(least: float) -> float:
    """Return the next of ..., 1, 2, 5, 10, ... that is no smaller than ``least``, which is above 0."""
    power = 10.0 ** math.floor(math.log10(least))
    return next(step * power for step in (1.0, 2.0, 5.0, 10.0) if step * power >= least * (1.0 - 1e-9))
