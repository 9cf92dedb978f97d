"""Wheel encoders on pins: quadrature counts from edges timed by the kernel.

Good to a few thousand edges a second in all; beyond that a board misses some (and counts that it did). Let a
co-processor count fast encoders.
"""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from rover.devices.kernel.gpio import Edge, InputLines
from rover.devices.readings import Reading, WheelCounts
from rover.devices.sides import Sides

_STEPS = (0, -1, 1, 0, 1, 0, 0, -1, -1, 0, 0, 1, 0, 1, -1, 0)
"""Counts for ``previous << 2 | present``, a state being ``a << 1 | b``; A leads B forwards: 00 10 11 01."""


class Quadrature:
    """Decodes one encoder, four counts to a line of its disc (x4).

    Attributes:
        count: counts so far; forwards (A leads B) is positive.
        errors: edges to the level that the channel had already: the one between was missed, and counts with it.
    """

    def __init__(self, a: bool, b: bool) -> None:
        self._state = a << 1 | b
        self.count = self.errors = 0

    def see(self, is_a: bool, rising: bool) -> None:
        """Take an edge of one channel."""
        mask = 0b10 if is_a else 0b01
        state = self._state | mask if rising else self._state & ~mask
        self.errors += state == self._state
        self.count += _STEPS[self._state << 2 | state]
        self._state = state


class Counts:
    """Both encoders; polling drains the kernel's edges, so counts are those of the time of the poll.

    Attributes:
        lost: edges that the kernel dropped because nobody polled.

    Raises:
        DeviceError: a pin cannot be had.
    """

    def __init__(self, options: Mapping[str, Any], context: Any = None) -> None:
        self._sides = Sides(options)
        pins = [(options[side]["a"], options[side]["b"]) for side in ("left", "right")]
        lines = [line for pair in pins for line in pair]
        self._lines = InputLines(options["gpio"], lines, options["bias"])
        levels = [self._lines.is_high(line) for line in lines]
        self._encoders = (Quadrature(*levels[:2]), Quadrature(*levels[2:]))
        self._by_line = {
            line: (encoder, is_a)
            for encoder, pair in zip(self._encoders, pins, strict=True)
            for line, is_a in zip(pair, (True, False), strict=True)
        }
        self._edge_sequence: int | None = None
        self._sequence = 0
        self.lost = 0

    @property
    def errors(self) -> int:
        """Impossible edges of both encoders so far."""
        return sum(encoder.errors for encoder in self._encoders)

    def poll(self, now_ns: int) -> Sequence[Reading]:
        """Return the counts as `WheelCounts`."""
        self._take(self._lines.edges())
        left, right = (encoder.count for encoder in self._encoders)
        self._sequence += 1
        return [Reading(now_ns, self._sequence, WheelCounts(*self._sides.from_channels(left, right)))]

    def close(self) -> None:
        """Let go of the pins."""
        self._lines.close()

    def _take(self, edges: Iterable[Edge]) -> None:
        for edge in edges:
            if self._edge_sequence is not None:
                self.lost += edge.sequence - self._edge_sequence - 1
            self._edge_sequence = edge.sequence
            encoder, is_a = self._by_line[edge.line]
            encoder.see(is_a, edge.rising)
