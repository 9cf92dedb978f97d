"""How much the angles of a heading scatter: as much as is stated, until they tell otherwise."""

from rover.estimate.covariance import CHI_SQUARE_1_99
from rover.quantities import clamp

LEARNED_IN = 100.0
"""So many reports tell of it."""
LEAST, MOST = 0.25, 2.0
"""It is taken to be so many times what is stated at least, and at most: what scatters more is not as its file says."""


class AngleNoise:
    """Learns the noise from how far the angle changes where the robot hardly turns.

    Args:
        stated: standard deviation of an angle (rad).
    """

    def __init__(self, stated: float) -> None:
        self.stated = stated
        self._variance = stated * stated

    @property
    def sigma(self) -> float:
        """Standard deviation of an angle (rad), as it is found."""
        return float(self._variance**0.5)

    def tell(self, apart: float) -> None:
        """Take in by how much more (rad) the angle changed from one report to the next than the robot turned.

        Two angles scatter apart with twice the variance of one; a single change that is far off tells of a jump.
        """
        seen = min(0.5 * apart * apart, CHI_SQUARE_1_99 * self._variance)
        learned = self._variance + (seen - self._variance) / LEARNED_IN
        self._variance = clamp(learned, (LEAST * self.stated) ** 2, (MOST * self.stated) ** 2)
