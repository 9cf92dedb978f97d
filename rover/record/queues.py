"""What stands between the robot's thread and the record's writer: a queue that costs little and never waits."""

from collections import deque
from typing import Any

from rover.record.run import Gap


class SampleQueue:
    """Samples on their way to one table; when it is full, further ones are dropped and the gap is remembered.

    Synchronization: one thread puts, another takes. Both ends of a `collections.deque` are safe for that.

    Attributes:
        table: name of the table, for the gaps.
        limit: samples that may wait. Memory is bounded by it, and it lasts out a disk that hangs for a while.
        gaps: gaps that have ended; whoever writes them takes them out from the left.
    """

    def __init__(self, table: str, limit: int) -> None:
        self.table = table
        self.limit = limit
        self.gaps: deque[Gap] = deque()
        self._waiting: deque[Any] = deque()
        self._gap: Gap | None = None

    def put(self, at_ns: int, sample: Any) -> None:
        """Add a sample, or drop it when the queue is full."""
        if len(self._waiting) >= self.limit:
            self._widen_gap(at_ns)
            return
        if self._gap is not None:
            self.close_gap()
        self._waiting.append(sample)

    def take(self) -> list[Any]:
        """Return all that waits, oldest first, and leave the queue empty."""
        take = self._waiting.popleft
        return [take() for _ in range(len(self._waiting))]

    def __len__(self) -> int:
        return len(self._waiting)

    def close_gap(self) -> None:
        """Hand over the gap that is open, if there is one. To be called by the thread that puts."""
        if self._gap is not None:
            self.gaps.append(self._gap)
            self._gap = None

    def _widen_gap(self, at_ns: int) -> None:
        gap = self._gap or Gap(self.table, at_ns, at_ns, 0)
        self._gap = Gap(gap.table, gap.from_ns, at_ns, gap.samples + 1)
