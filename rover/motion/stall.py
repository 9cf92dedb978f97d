"""Wheels that are driven and do not turn: the robot pushes against something, or the motors have no supply."""

STALL_AFTER = 1.5
"""Seconds of being driven, after which wheels that have not turned are stalled."""
TURNS = 0.25
"""Wheels that go less than this share of the way that they are told do not turn."""
SLOW = 0.03
"""Slower than this (m/s) a side may stand still unnoticed: its dead band is not known so well."""


class _Side:
    """One side: the way that it was told to go and the way that it went, since it last was seen to turn."""

    def __init__(self) -> None:
        self._sign = 0.0
        self._begin()

    def _begin(self) -> None:
        self._told = self._gone = self.seconds = 0.0

    def tell(self, speed: float, seconds: float) -> None:
        sign = 1.0 if speed > SLOW else -1.0 if speed < -SLOW else 0.0
        if sign != self._sign:
            self._sign = sign
            self._begin()
        if sign:
            self._told += abs(speed) * seconds
            self.seconds += seconds

    def go(self, way: float) -> None:
        self._gone += way * self._sign
        if self._gone >= TURNS * self._told:
            self._begin()


class StallWatch:
    """Compares what the wheels are told with what they do by their counts. Without counts it says nothing."""

    def __init__(self) -> None:
        self._sides = _Side(), _Side()
        self._is_counted = False

    def tell(self, speeds: tuple[float, float], seconds: float) -> None:
        """Note the speeds (m/s) that the sides are told for the next ``seconds``."""
        for side, speed in zip(self._sides, speeds, strict=True):
            side.tell(speed, seconds)

    def go(self, left: float, right: float) -> None:
        """Note the ways (m) that the sides went."""
        self._is_counted = True
        self._sides[0].go(left)
        self._sides[1].go(right)

    def look(self) -> bool:
        """Tell whether a side has stalled since the last look at it; after a stall it is watched anew."""
        is_stalled = self._is_counted and any(side.seconds > STALL_AFTER for side in self._sides)
        self._is_counted = False
        if is_stalled:
            self._sides = _Side(), _Side()
        return is_stalled
