"""How much variance motion gives the position, against what is stated of it: by how far off is what is ranged to.

The other half of what innovations tell; `rover.estimate.source` has the first, and where both are from. The mean of
their squares is the predicted variance and the noise's; what is over the noise's, and over what was unsure before the
robot moved, motion made. Each counts by what it tells of that: Fisher's information of a variance in one draw.
"""

import math

from rover.estimate.covariance import CHI_SQUARE_1_99, Motion
from rover.geometry import XY
from rover.quantities import clamp

STATED_FOR, LEARNED_IN = 10.0, 40.0
"""What is stated weighs as much as so many innovations; so many more weigh as much as all before."""
LEAST, MOST = 0.25, 9.0
"""The variance stays within these multiples of what is stated."""


class MotionNoise:
    """Learns it, and keeps what of the position's variance motion has made since it was corrected.

    Attributes:
        factor: of the stated variance.
    """

    def __init__(self) -> None:
        self.factor = 1.0
        self._learned = STATED_FOR
        self._xx = self._xy = self._yy = 0.0

    def grow(self, motion: Motion, scrubbed: float) -> None:
        """Take a motion in, and what its turns made (m^2) in either direction."""
        self._xx += motion.xx + scrubbed
        self._xy += motion.xy
        self._yy += motion.yy + scrubbed

    def learn(self, slopes: XY, innovation: float, predicted: float, variance: float) -> None:
        """Learn from an innovation.

        Args:
            slopes: the measurement's derivatives by x and y.
            innovation: measured less predicted.
            predicted: variance of what was predicted.
            variance: of the noise; infinite where nothing is to be corrected.
        """
        a, b = slopes
        made = a * a * self._xx + 2.0 * a * b * self._xy + b * b * self._yy
        if made <= 0.0 or math.isinf(variance):
            return
        expected = predicted + variance
        seen = min(innovation * innovation, CHI_SQUARE_1_99 * expected) - (expected - made)
        told = (made / expected) ** 2
        self._learned = min(LEARNED_IN, self._learned + told)
        self.factor = clamp(self.factor * (1.0 + told * (seen / made - 1.0) / self._learned), LEAST, MOST)

    def correct(self, slopes: XY, gain: XY) -> None:
        """Leave what a correction leaves of it: (1 - K H) M (1 - K H)^T; ``gain`` is K, by x and y."""
        (a, b), (k, m) = slopes, gain
        p, q, r, s = 1.0 - k * a, -k * b, -m * a, 1.0 - m * b
        xx, xy, yy = self._xx, self._xy, self._yy
        self._xx = p * p * xx + 2.0 * p * q * xy + q * q * yy
        self._xy = p * r * xx + (p * s + q * r) * xy + q * s * yy
        self._yy = r * r * xx + 2.0 * r * s * xy + s * s * yy
