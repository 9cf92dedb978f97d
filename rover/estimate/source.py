"""What a source of corrections has proved to be worth: its noise by its innovations, and how long it has been refused.

The noise is matched to the innovations (R. K. Mehra, "On the Identification of Variances and Adaptive Kalman
Filtering", 1970; K. A. Myers and B. D. Tapley, "Adaptive Sequential Estimation with Unknown Noise Statistics", 1976;
both from memory): the mean of their squares is the predicted variance and the noise's, so what is over is the noise's.
Each counts by what it tells of the noise: Fisher's information of a variance in one draw is one over twice its square.
Innovations of a filter whose model holds are white (Mehra, the same); those that lean to one side together are of a
source that is off, however well each of them would pass for noise.
"""

import math
from collections.abc import Sequence
from typing import NamedTuple

from rover.estimate.covariance import CHI_SQUARE_1_99, DRIFT_HOLDS, STATES
from rover.quantities import clamp

LEARNED_IN = 40.0
"""Innovations over which the noise is learned: so many more weigh as much as all before."""
STATED_FOR = 10.0
"""What is stated of it weighs as much as so many."""
REFUSALS_BEFORE_DOUBT = 10
"""So many refused corrections of one source in a row, and the filter doubts itself rather than the source..."""
MOST_IN_ROW = 2 * REFUSALS_BEFORE_DOUBT
"""No more are counted: as many of the other sign, and it is as at first."""
WAY_BEFORE_DOUBT, ELSEWHERE = 0.5, 3
"""... those of a place only where so many came this way (m) before: what stands before a wall would move the estimate
otherwise, and so would a range finder that tells too much before it has been held against a second wall."""
WAY_OF_ONE = 3.0
"""... and only after this way (m), where nothing else contradicts: on it, something else would have been met."""
NO_NOISE = 3
"""Those refused in a row beyond so many are of something else: noise, however large, lets one pass now and then."""
LEANS, CLIPPED = 4.0, 3.0
"""Innovations that lean to one side by so many standard deviations of their sum are not noise, be it no less than is
stated: what noise turned out to be less may still be off by that. One counts for no more than so many of its own."""
LEAST, MOST = 0.02, 50.0
"""The noise's variance stays within these multiples of the stated one."""
DRIFT_LEARNED, DRIFT_MOST = 0.5, 100.0
"""What is seen of a sensor's drift counts for this share; its variance is at most this multiple of what is stated."""


class _Leaning(NamedTuple):
    """To which side innovations lean: the sum of them, each over its standard deviation, and the sum's variance.

    Both fade as the noise is learned. Once they plainly lean, more of them add nothing, and they do so until the sum is
    half as much.
    """

    total: float = 0.0
    variance: float = 0.0
    is_plain: bool = False

    def plus(self, normalised: float) -> "_Leaning":
        """Return it with one more."""
        kept = 1.0 - 1.0 / LEARNED_IN
        total, variance = kept * self.total + normalised, kept * kept * self.variance + 1.0
        most = LEANS * math.sqrt(variance)
        is_plain = abs(total) > (0.5 * most if self.is_plain else most)
        return _Leaning(clamp(total, -most, most), variance, is_plain)


class Source:
    """One source of corrections.

    Attributes:
        factor: of the stated variance, learned.
        heard: innovations in all; ``innovations``: their sum, in the measurement's unit.
        refused: those that the gate refused, in all.
        moves: by how much it has moved each state of the filter, in all.
    """

    def __init__(self) -> None:
        self.factor = 1.0
        self.heard = self.refused = 0
        self.innovations = 0.0
        self.moves = [0.0] * STATES
        self._learned = STATED_FOR  # what the factor weighs
        self._slow_factor = 1.0  # the same, learned so slowly that what leans shows before it is taken for noise
        self._refused_at: list[float] = []  # those in a row: the way travelled then (m)
        self._is_refused_high = False
        self._leaning = _Leaning()

    @property
    def refused_in_row(self) -> int:
        """Those refused of one sign, less those of the other; each that passes halves them."""
        return len(self._refused_at)

    @property
    def is_off(self) -> bool:
        """All lean to one side, or so many were refused in a row that they are of something else."""
        return self._leaning.is_plain or self.refused_in_row >= NO_NOISE

    def takes(self, innovation: float, predicted: float, variance: float, least: float = 0.0) -> bool:
        """Learn from an innovation, and return whether the gate lets it pass.

        Args:
            innovation: measured less predicted.
            predicted: variance of what was predicted.
            variance: of the measurement, as it is stated.
            least: of what it is measured against.
        """
        self.heard += 1
        self.innovations += innovation
        expected = predicted + variance * self.factor
        square = innovation * innovation
        spread = math.sqrt(predicted + variance * max(1.0, self._slow_factor) + least)
        self._leaning = self._leaning.plus(clamp(innovation / spread, -CLIPPED, CLIPPED))
        passes = square <= CHI_SQUARE_1_99 * (expected + least)
        if self._leaning.is_plain or (not passes and self.refused_in_row >= NO_NOISE):
            return False
        seen = min(square, CHI_SQUARE_1_99 * expected) - predicted
        told = (variance / (variance + predicted)) ** 2  # of the noise as stated: one taken for too small learns, too
        self._learned = min(LEARNED_IN, self._learned + told)
        self.factor = clamp(self.factor + told * (seen / variance - self.factor) / self._learned, LEAST, MOST)
        self._slow_factor += told * (seen / variance - self._slow_factor) / LEARNED_IN
        return passes

    def variance(self, stated: float, predicted: float, least: float) -> float:
        """Return the variance to correct by, of a measurement with a stated one.

        What is known as well as what it is measured against (variance ``least``) no number of looks makes better known.
        """
        variance = stated * self.factor
        if not least:
            return variance
        return max(variance, predicted * least / (predicted - least)) if predicted > least else math.inf

    def accept(self, moves: Sequence[float]) -> None:
        """Note that one was let pass, and moved each state of the filter by so much.

        By chance any may be: one alone does not refute those that were refused.
        """
        self._refused_at = self._refused_at[(len(self._refused_at) + 1) // 2 :]
        self.moves = [a + b for a, b in zip(self.moves, moves, strict=True)]

    def begin(self) -> None:
        """Forget those that were refused in a row, and to which side all leaned."""
        self._refused_at.clear()
        self.doubt_prediction()

    def doubt_prediction(self) -> None:
        """Forget to which side all leaned: it was what they were held against that was off."""
        self._leaning = _Leaning()

    def refuse(self, innovation: float, travelled: float) -> None:
        """Note that one was refused, after a way (m)."""
        self.refused += 1
        is_high, refused = innovation > 0.0, self._refused_at
        if not refused:
            self._is_refused_high = is_high
        if is_high is not self._is_refused_high:
            refused.pop(0)
            return
        refused.append(travelled)
        if len(refused) > MOST_IN_ROW:
            refused.pop(ELSEWHERE)  # where the first of them were is kept

    @property
    def is_refused_often(self) -> bool:
        """Whether so many have been refused in a row that not they may be wrong."""
        return self.refused_in_row >= REFUSALS_BEFORE_DOUBT

    def is_refused_for_long(self, travelled: float, way: float) -> bool:
        """Tell whether so many have been refused in a row, and over such a way, that not they may be wrong."""
        if not self.is_refused_often:
            return False
        return sum([travelled - one > way for one in self._refused_at]) >= ELSEWHERE


class Drifting:
    """How fast the heading sensor drifts, by what its drift is estimated to have changed by in a while.

    Args:
        growth: of the drift's variance, as it is stated (rad^2 a second). It is never taken to be less.
    """

    __slots__ = ("_due_ns", "_growth", "_stated", "_then")

    def __init__(self, growth: float) -> None:
        self._growth = self._stated = growth
        self._then, self._due_ns = 0.0, round(DRIFT_HOLDS * 1e9)

    def jump(self, by: float) -> None:
        """Note that the drift has jumped (rad): so much is not how fast it drifts."""
        self._then += by

    def growth(self, drift: float, now_ns: int) -> float | None:
        """Return the growth (rad^2 a second) that the estimated drift (rad) tells; None until a while has passed."""
        if now_ns < self._due_ns:
            return None
        seconds = DRIFT_HOLDS + (now_ns - self._due_ns) * 1e-9
        seen = (drift - self._then) ** 2 / seconds
        self._growth += DRIFT_LEARNED * (seen - self._growth)
        self._growth = clamp(self._growth, self._stated, DRIFT_MOST * self._stated)
        self._then, self._due_ns = drift, now_ns + round(DRIFT_HOLDS * 1e9)
        return self._growth
