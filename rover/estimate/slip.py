"""Slip of a driven wheel: travel of one side that the turn rate and the other side do not allow.

A cumulative sum (E. S. Page, "Continuous Inspection Schemes", Biometrika 1954; from memory): what the difference of the
two sides exceeds the turn rate's by, less what is allowed in that time and turn, adds up while it is more than nothing,
and is a slip once it is more than the counts' own coarseness can make. So a fine encoder's slip is seen in one report,
and a coarse one's in the way that it takes to tell: one count by itself is never a slip.
"""

SLIP_RATE = 0.12
"""Wheels that turn the robot by this much (rad/s) more or less than the sensor tells, and by `SLIP_SHARE`, slip."""
SLIP_SHARE = 0.2
COUNTS_ALLOWED = 2.0
"""Of each side's way in a window nobody knows one count: so many in their difference."""
NONE = (0.0, 0.0)


class SlipGate:
    """Holds the two sides' travel against the turn rate.

    Args:
        count: travel in one encoder count (m).
    """

    __slots__ = ("_coarse", "_is_open", "_left_ahead", "_right_ahead")

    def __init__(self, count: float) -> None:
        self._coarse = COUNTS_ALLOWED * count
        self._is_open = False
        self._left_ahead, self._right_ahead = _Excess(), _Excess()

    def slipped(self, left: float, right: float, turned: float, track_seconds: float) -> tuple[float, float]:
        """Return how much (m) of the left and of the right side's travel so far was slip.

        A driven wheel that slips turns farther than the ground goes by, so the side to doubt is the one that is ahead.

        Args:
            left: travel in this report (m).
            right: the same of the other side.
            turned: what the turn rate makes of the difference between them (m).
            track_seconds: the effective track (m) times the time of the report (s).
        """
        allowed = SLIP_RATE * track_seconds + SLIP_SHARE * abs(turned)
        excess = right - left - turned
        if -allowed <= excess <= allowed and not self._is_open:
            return NONE
        right_ahead, left_ahead, way = self._right_ahead, self._left_ahead, left + right
        by_right = right_ahead.add(excess, allowed, way, self._coarse)
        by_left = left_ahead.add(-excess, allowed, way, self._coarse)
        self._is_open = right_ahead.beyond > 0.0 or left_ahead.beyond > 0.0
        if by_right:
            return (0.0, by_right) if right_ahead.way >= 0.0 else (-by_right, 0.0)
        if by_left:
            return (by_left, 0.0) if left_ahead.way >= 0.0 else (0.0, -by_left)
        return NONE


class _Excess:
    """What one side is ahead of the other by.

    Attributes:
        beyond: what of that is not allowed, so far (m); 0: nothing.
        way: gone by both sides together since it began (m).
    """

    __slots__ = ("_in_all", "beyond", "way")

    def __init__(self) -> None:
        self.beyond = self._in_all = self.way = 0.0

    def add(self, excess: float, allowed: float, way: float, threshold: float) -> float:
        """Add what a report shows; return the whole excess since it began, once it is more than can be."""
        self.beyond += excess - allowed
        if self.beyond <= 0.0:
            self.beyond = self._in_all = self.way = 0.0
            return 0.0
        self._in_all += excess
        self.way += way
        if self.beyond <= threshold:
            return 0.0
        slip, self._in_all, self.beyond = self._in_all, 0.0, threshold
        return slip
