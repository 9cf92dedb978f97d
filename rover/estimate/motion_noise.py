"""How much variance motion gives the position, against what is stated of it: by how far off is what is ranged to.

The other half of what innovations tell; `rover.estimate.source` has the first, and where both are from. The mean of
their squares is the predicted variance and the noise's; what is over what was unsure before the robot moved, motion
made, or noise did. How that is shared out innovations alone do not tell where all are alike: so the least that motion
may have made is learned, and the most, and what is stated stands where it lies between. Each innovation counts by what
it tells: Fisher's information of a variance in one draw.
"""

from rover.estimate.covariance import CHI_SQUARE_1_99, Motion, Spread
from rover.geometry import XY
from rover.quantities import clamp

STATED_FOR, LEARNED_IN = 10.0, 40.0
"""What is stated weighs as much as so many innovations; so many more weigh as much as all before."""
LEAST, MOST = 0.25, 9.0
"""The variance stays within these multiples of what is stated."""


class MotionNoise:
    """Learns it, and keeps what corrections have left of what motion made of the position's variance so far.

    Attributes:
        factor: of the stated variance.
    """

    def __init__(self) -> None:
        self.factor = self._low = self._high = 1.0
        self._learned = STATED_FOR
        self._made = Spread()

    def grow(self, motion: Motion) -> None:
        """Take a motion in."""
        self._made.add(motion.rolled)

    def learn(self, slopes: XY, innovation: float, predicted: float, variance: float) -> None:
        """Learn from an innovation, be it one that the gate refuses.

        Args:
            slopes: the measurement's derivatives by x and y.
            innovation: measured less predicted.
            predicted: variance of what was predicted.
            variance: of the noise.
        """
        (a, b), left = slopes, self._made
        made = a * a * left.xx + 2.0 * a * b * left.xy + b * b * left.yy
        if made <= 0.0:
            return
        expected, stated = predicted + variance, made / self.factor
        most = min(innovation * innovation, CHI_SQUARE_1_99 * expected) - (predicted - made)
        told = (made / expected) ** 2
        self._learned = min(LEARNED_IN, self._learned + told)
        self._low = _mean(self._low, (most - variance) / stated, told / self._learned)
        self._high = _mean(self._high, most / stated, told / self._learned)
        self.factor = clamp(1.0, self._low, self._high)

    def correct(self, slopes: XY, gain: XY) -> None:
        """Leave what a correction leaves of it: (1 - K H) M (1 - K H)^T; ``gain`` is K, by x and y."""
        (a, b), (k, m), left = slopes, gain, self._made
        p, q, r, s = 1.0 - k * a, -k * b, -m * a, 1.0 - m * b
        xx, xy, yy = left.xx, left.xy, left.yy
        left.xx = p * p * xx + 2.0 * p * q * xy + q * q * yy
        left.xy = p * r * xx + (p * s + q * r) * xy + q * s * yy
        left.yy = r * r * xx + 2.0 * r * s * xy + s * s * yy


def _mean(before: float, seen: float, share: float) -> float:
    return clamp(before + share * (seen - before), LEAST, MOST)
