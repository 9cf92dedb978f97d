"""Wheels that are driven and do not turn: the robot pushes against something, or the motors have no supply."""

WINDOW = 0.5
"""Seconds over which what the wheels did is compared with what they were told..."""
STALLED_AFTER = 3
"""... and so many windows in a row in which they do not turn are a stall."""
TURNS = 0.25
"""Wheels that go less than this share of the way that they are told do not turn."""
SLOW = 0.03
"""Slower than this (m/s) a side may stand still unnoticed: its dead band is not known so well."""


class StallWatch:
    """Compares what the wheels are told with what they do by their counts. Without counts it says nothing.

    Args:
        tries: so often both sides may be driven anew, another way each time, before it is taken for good that not one
            count comes.
    """

    def __init__(self, tries: int = 1) -> None:
        self._tries = tries
        self._windows = 0
        self._driven = (True, True)
        self._stood: list[tuple[bool, bool]] = []
        self._stands = False
        self._begin()

    def _begin(self) -> None:
        self._told_left = self._told_right = self._gone_left = self._gone_right = self._seconds = 0.0
        self._is_counted = False

    def tell(self, left: float, right: float, seconds: float) -> None:
        """Note the speeds (m/s) that the sides are told for the next ``seconds``."""
        if self._seconds >= WINDOW:
            stands = _stands(self._told_left, self._gone_left) or _stands(self._told_right, self._gone_right)
            self._windows = self._windows + 1 if stands and self._is_counted else 0
            self._begin()
        if left and right:
            self._driven = (left > 0.0, right > 0.0)
        self._told_left += left * seconds
        self._told_right += right * seconds
        self._seconds += seconds

    def go(self, left: float, right: float) -> None:
        """Note the ways (m) that the sides went."""
        self._gone_left += left
        self._gone_right += right
        self._is_counted = True
        if self._stood and (left or right):
            self._stood.clear()

    def stand(self) -> None:
        """Take it that both sides should have gone by now, by what the motors are given, and have not."""
        self._stands = True
        self._stood.append(self._driven)

    def look(self) -> bool:
        """Tell whether the wheels have stalled; after a stall they are watched anew."""
        if self._stands:
            self._stands = False
            return True
        if self._windows < STALLED_AFTER:
            return False
        self._windows = 0
        return True

    @property
    def is_for_good(self) -> bool:
        """It stalled on both sides, was driven anew as often as it may or the same way again, and not one count has
        come: whether wheels or counts stand still, nobody knows where the robot goes."""
        return len(self._stood) > self._tries or len(set(self._stood)) < len(self._stood)

    @property
    def stood(self) -> bool:
        """Both sides stood, and not one count has come since."""
        return bool(self._stood)


def _stands(told: float, gone: float) -> bool:
    if told < 0.0:
        told, gone = -told, -gone
    return told > SLOW * WINDOW and gone < TURNS * told
