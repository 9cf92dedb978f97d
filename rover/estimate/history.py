"""Where the robot was a moment ago: readings that come late are held against the pose of their time.

What has corrected the estimate since then has corrected that pose too: else what comes late would correct it again.
"""

from collections import deque

from rover.estimate.turning import GAP_NS
from rover.geometry import Pose
from rover.quantities import wrap

KEPT_NS = 1_500_000_000


class PoseHistory:
    """The poses of the last one and a half seconds."""

    __slots__ = ("_corrections", "_entries", "_gap_ns")

    def __init__(self) -> None:
        self._entries: deque[tuple[int, float, float, float]] = deque()
        self._corrections: deque[tuple[int, float, float, float]] = deque()  # with the time of the entry before each
        self._gap_ns = 0, 0

    def append(self, at_ns: int, x: float, y: float, heading: float) -> None:
        """Keep a pose, the latest."""
        entries = self._entries
        if entries and at_ns - entries[-1][0] > GAP_NS and (x, y, heading) != entries[-1][1:]:
            self._gap_ns = entries[-1][0], at_ns
        entries.append((at_ns, x, y, heading))
        while at_ns - entries[0][0] > KEPT_NS:
            entries.popleft()
        while self._corrections and self._corrections[0][0] < entries[0][0]:
            self._corrections.popleft()

    def correct(self, x: float, y: float, heading: float) -> None:
        """Have all that is kept corrected by so much (m, rad), as the estimate is."""
        if self._entries:
            self._corrections.append((self._entries[-1][0], x, y, heading))

    def is_in_gap(self, taken_ns: int) -> bool:
        """Tell whether a time lies between two poses of which nobody knows when one became the other."""
        return self._gap_ns[0] < taken_ns < self._gap_ns[1]

    def at(self, taken_ns: int) -> Pose | None:
        """Return the pose of a time: between two kept ones by proportion; None after the last, and where none is kept.

        Before the first it is that one.
        """
        later = None
        for entry in reversed(self._entries):
            if entry[0] <= taken_ns:
                return None if later is None else _between(self._corrected(entry), self._corrected(later), taken_ns)
            later = entry
        return None if later is None else Pose(*self._corrected(later)[1:])

    def _corrected(self, entry: tuple[int, float, float, float]) -> tuple[int, float, float, float]:
        at_ns, x, y, heading = entry
        for before_ns, dx, dy, turn in reversed(self._corrections):
            if before_ns < at_ns:
                break
            x, y, heading = x + dx, y + dy, heading + turn
        return at_ns, x, y, wrap(heading)


def _between(early: tuple[int, float, float, float], late: tuple[int, float, float, float], taken_ns: int) -> Pose:
    share = (taken_ns - early[0]) / (late[0] - early[0])
    return Pose(
        early[1] + share * (late[1] - early[1]),
        early[2] + share * (late[2] - early[2]),
        wrap(early[3] + share * wrap(late[3] - early[3])),
    )
