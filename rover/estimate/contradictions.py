"""What contradicts the estimate again and again, until something else agrees with the estimate along the same line.

Either the robot is elsewhere than it believes, or what contradicts it tells or stands otherwise than it should; one
alone never tells which. Until it is known, the position is as unsure as both differ, and no number of looks of one
source makes it surer: each of them may pass for noise, but noise is not alike.
"""

from typing import NamedTuple

from rover.estimate.doubt import Doubt
from rover.geometry import XY

SIGMAS, LEAST = 3.0, 0.1
"""What is off by so many standard deviations of what was due, and by so much (m), contradicts; ..."""
ENOUGH = 4
"""... so many of one witness ..."""
ALIKE, ALIKE_SHARE = 0.06, 0.3
"""... that are off by as much, give or take this (m) and this share, are a contradiction."""
MOST = 0.4
"""The position becomes no less sure by one of them than this (m): that alone stops nobody."""
AGREEING = 1.5
"""What is off by no more than so many standard deviations agrees."""
SAME_LINE = 0.7
"""A line along which something agrees is that of the contradiction, by the cosine between them."""
SETTLES = 0.33
"""It settles one where it is off by no more than this share of that, and is known as well."""


class Witness(NamedTuple):
    """What tells of the position: what it is of, such as one wall, and which part of that."""

    of: str
    part: str = ""


class Off(NamedTuple):
    """By how much (m) the position is off along a line of length 1, as something tells.

    ``sigma`` (m): of what was due and of what was measured, both together. What hangs on the heading as much as on the
    place, as a bearing does, contradicts, and settles nothing.
    """

    line: XY
    way: float
    sigma: float
    is_of_place: bool = True


class _Run(NamedTuple):
    """Contradictions of one witness: how far off (m) along which line, and how many."""

    line: XY
    way: float
    times: int

    @property
    def is_open(self) -> bool:
        return self.times >= ENOUGH

    def again(self, off: Off) -> "_Run":
        if abs(off.way - self.way) > max(ALIKE, ALIKE_SHARE * abs(self.way)):
            return self if self.is_open else _Run(off.line, off.way, 1)
        times = min(self.times + 1, ENOUGH)
        return _Run(off.line, self.way + (off.way - self.way) / times, times)


class Contradictions:
    """Those that nobody has settled, by who contradicts."""

    def __init__(self) -> None:
        self._by: dict[Witness, _Run] = {}

    @property
    def are_of_several(self) -> bool:
        """The same is told by more than one."""
        return len({witness.of for witness, run in self._by.items() if run.is_open}) > 1

    def take(self, witness: Witness, off: Off) -> bool:
        """Take in what a witness tells; return whether it settled what others say.

        Who contradicts settles nothing: the estimate may have been moved to where that agrees.
        """
        run, way = self._by.get(witness), abs(off.way)
        if way > max(LEAST, SIGMAS * off.sigma):
            self._by[witness] = _Run(off.line, off.way, 1) if run is None else run.again(off)
            return False
        if way > AGREEING * off.sigma:
            return False
        if run is not None and not run.is_open:
            del self._by[witness]
        if any(other.of == witness.of and one.is_open for other, one in self._by.items()):
            return False
        settled = [other for other, one in self._by.items() if other.of != witness.of and _settles(off, one)]
        for other in settled:
            del self._by[other]
        return bool(settled)

    def added_to(self, doubt: Doubt) -> Doubt:
        """Return how unsure the position is with them."""
        for (x, y), way, times in self._by.values():
            if times >= ENOUGH:
                square = min(way * way, MOST * MOST)
                doubt = Doubt(doubt.xx + square * x * x, doubt.xy + square * x * y, doubt.yy + square * y * y)
        return doubt


def _settles(off: Off, run: _Run) -> bool:
    is_along = abs(off.line[0] * run.line[0] + off.line[1] * run.line[1]) > SAME_LINE
    return off.is_of_place and is_along and max(abs(off.way), off.sigma) < SETTLES * abs(run.way)
