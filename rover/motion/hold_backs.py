"""What takes motion away for a while: each hold-back with the motions that it takes, kept up and counted."""

from collections import deque
from collections.abc import Container, Iterable

FORWARDS, BACKWARDS, LEFT, RIGHT = 1, 2, 4, 8
"""Motions, to be added up."""
ALL = FORWARDS | BACKWARDS | LEFT | RIGHT


def motions_of(speed: float, turn_rate: float) -> int:
    """Return the motions that a speed and a turn rate are."""
    along = FORWARDS if speed > 0.0 else BACKWARDS if speed < 0.0 else 0
    return along | (LEFT if turn_rate > 0.0 else RIGHT if turn_rate < 0.0 else 0)


def all_of(found: Iterable[tuple[str, int]], but: Container[str] = ()) -> int:
    """Return the motions that some causes take, all ``but`` some."""
    taken = 0
    for cause, motions in found:
        if cause not in but:
            taken |= motions
    return taken


class Count:
    """How many times something happened within a time; ``most`` is too many."""

    def __init__(self, most: int, within: float) -> None:
        self._most, self._within_ns = most, int(within * 1e9)
        self._times: deque[int] = deque()

    def add(self, now_ns: int) -> None:
        """Count one more."""
        self._times.append(now_ns)
        while now_ns - self._times[0] > self._within_ns:
            self._times.popleft()

    def clear(self) -> None:
        """Begin afresh."""
        self._times.clear()

    @property
    def is_too_many(self) -> bool:
        """It happened too often."""
        return len(self._times) >= self._most


class HoldBacks:
    """The hold-backs in force. Each goes on until its cause has been gone for a set time, and so long it takes away
    the same motions as at first: a cause that comes and goes does not let the robot go by fits and starts.

    Args:
        resume_after: that time (s).

    Attributes:
        causes: of those in force, in the order in which they began.
    """

    def __init__(self, resume_after: float) -> None:
        self._lasts_ns = int(resume_after * 1e9)
        self._until: dict[tuple[str, int], int] = {}
        self.causes: tuple[str, ...] = ()

    def take(self, found: list[tuple[str, int]], now_ns: int) -> list[str]:
        """Take in the causes found in a step, each with the motions that it takes; return those that began."""
        if not found and not self._until:
            return []
        for each in found:
            self._until[each] = now_ns + self._lasts_ns
        for each in [each for each, until_ns in self._until.items() if now_ns >= until_ns and each not in found]:
            del self._until[each]
        before, self.causes = self.causes, tuple(dict.fromkeys(cause for cause, _ in self._until))
        return [cause for cause in self.causes if cause not in before]

    def taken(self, but: Container[str] = ()) -> int:
        """Return the motions that are taken away, by all causes ``but`` some."""
        return all_of(self._until, but)
