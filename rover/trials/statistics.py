"""What trials tell, and how surely: shares, pairs, quantiles and orders, each with its 95 % interval.

Closed forms in plain Python, so that results can be looked at on any computer; the tests hold them against scipy and
statsmodels.
"""

import math
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from itertools import accumulate
from statistics import NormalDist
from typing import NamedTuple

LEVEL = 0.95
SIGNIFICANCE = 1.0 - LEVEL
POWER = 0.8

_NORMAL = NormalDist()
_Z = _NORMAL.inv_cdf(0.5 + LEVEL / 2.0)


class Estimate(NamedTuple):
    """A value and the ends of its 95 % interval."""

    value: float
    low: float
    high: float


class Quantile(NamedTuple):
    """A quantile and the ends of its 95 % interval; None for an end of which so few values say nothing."""

    value: float
    low: float | None
    high: float | None


class Pairs(NamedTuple):
    """How often two variants succeeded on the same trials: both, only the first, only the second, neither."""

    both: int
    first_only: int
    second_only: int
    neither: int

    @property
    def number(self) -> int:
        """How many pairs there are."""
        return sum(self)

    @property
    def first(self) -> int:
        """Successes of the first."""
        return self.both + self.first_only

    @property
    def second(self) -> int:
        """Successes of the second."""
        return self.both + self.second_only


def wilson(successes: int, trials: int) -> Estimate:
    """Return the share of successes with its score interval.

    Source: E. B. Wilson, Probable inference, the law of succession, and statistical inference, Journal of the American
    Statistical Association 22 (1927) 209-212.

    Raises:
        ValueError: there are no trials, or not as many as successes.
    """
    if not 0 <= successes <= trials or trials == 0:
        raise ValueError(f"{successes} of {trials} is no share")
    share, more = successes / trials, _Z * _Z / trials
    middle = (share + more / 2.0) / (1.0 + more)
    half = math.sqrt(more * share * (1.0 - share) + more * more / 4.0) / (1.0 + more)
    low = 0.0 if successes == 0 else middle - half
    high = 1.0 if successes == trials else middle + half
    return Estimate(share, low, high)


def mcnemar(pairs: Pairs) -> float:
    """Return the chance of pairs at least as one-sided as these if both variants were equally good (two-sided, exact).

    Source: Q. McNemar, Note on the sampling error of the difference between correlated proportions or percentages,
    Psychometrika 12 (1947) 153-157; in its exact form a sign test of the pairs that differ.
    """
    differing = pairs.first_only + pairs.second_only
    tail, term = 0, 1
    for number in range(min(pairs.first_only, pairs.second_only) + 1):
        tail += term
        term = term * (differing - number) // (number + 1)
    return min(2 * tail / 2**differing, 1.0)


def paired_difference(pairs: Pairs) -> Estimate:
    """Return by how much the share of the first variant is greater than that of the second.

    Source: R. G. Newcombe, Improved confidence intervals for the difference between binomial proportions based on
    paired data, Statistics in Medicine 17 (1998) 2635-2650, method 10: the two Wilson intervals, and how the pairs go
    together.

    Raises:
        ValueError: there are no pairs.
    """
    first, second = wilson(pairs.first, pairs.number), wilson(pairs.second, pairs.number)
    together = _correlation(pairs)
    difference = (pairs.first_only - pairs.second_only) / pairs.number
    below = _side(first.value - first.low, second.high - second.value, together)
    above = _side(first.high - first.value, second.value - second.low, together)
    return Estimate(difference, difference - below, difference + above)


def _correlation(pairs: Pairs) -> float:
    """Return how the two go together (-1 to 1), corrected for continuity where they do."""
    margins = pairs.first * pairs.second * (pairs.number - pairs.first) * (pairs.number - pairs.second)
    product = pairs.both * pairs.neither - pairs.first_only * pairs.second_only
    if margins == 0:
        return 0.0
    return (product if product < 0 else max(product - pairs.number / 2.0, 0.0)) / math.sqrt(margins)


def _side(first: float, second: float, together: float) -> float:
    return math.sqrt(max(first * first - 2.0 * together * first * second + second * second, 0.0))


def pairs_that_would_tell(pairs: Pairs) -> int | None:
    """Return how many pairs in all would show a difference such as this one (5 %, two-sided) in four cases of five.

    None where there is no difference, so that no number would. It takes the shares seen for the true ones: a guide.

    Source: R. J. Connor, Sample size for testing differences in proportions for the paired-sample design, Biometrics 43
    (1987) 207-211, the form that does not suppose how the pairs go together (from memory).
    """
    if pairs.first_only == pairs.second_only:
        return None
    difference = (pairs.first_only - pairs.second_only) / pairs.number
    differing = (pairs.first_only + pairs.second_only) / pairs.number
    spread = _Z * math.sqrt(differing) + _NORMAL.inv_cdf(POWER) * math.sqrt(differing - difference * difference)
    return math.ceil((spread / difference) ** 2)


def quantile(values: Iterable[float], share: float) -> Quantile:
    """Return the nearest-rank quantile: the least value up to which at least ``share`` of all values lie.

    Its interval goes from one of the values to another, whatever the distribution: H. A. David, H. N. Nagaraja, Order
    Statistics, 3rd ed. (2003), section 7.1. The values must be independent of each other for that.

    Raises:
        ValueError: there are no values.
    """
    ordered = sorted(values)
    if not ordered:
        raise ValueError("no values, no quantile")
    count = len(ordered)
    up_to = list(accumulate(_binomial(count, share)))
    # P(the share's true quantile < the value of rank k) = P(fewer than k values lie below it) = up_to[k - 1]
    low = max((rank for rank in range(1, count + 1) if up_to[rank - 1] <= SIGNIFICANCE / 2.0), default=None)
    high = min((rank for rank in range(1, count + 1) if up_to[rank - 1] >= 1.0 - SIGNIFICANCE / 2.0), default=None)
    nearest = max(math.ceil(share * count - 1e-9), 1)
    return Quantile(
        ordered[nearest - 1],
        None if low is None else ordered[low - 1],
        None if high is None else ordered[high - 1],
    )


def _binomial(count: int, share: float) -> Iterator[float]:
    """Yield the chances of 0, 1, ... ``count`` successes."""
    success, failure = math.log(share), math.log1p(-share)
    for number in range(count + 1):
        ways = math.lgamma(count + 1) - math.lgamma(number + 1) - math.lgamma(count - number + 1)
        yield math.exp(ways + number * success + (count - number) * failure)


class Order(NamedTuple):
    """How two groups of values lie to each other.

    Attributes:
        chance: that a value of the first group is greater than one of the second (equal ones count half): 0.5 where the
            groups do not differ; the area under the receiver operating characteristic.
        p: chance of an order at least as one-sided if they do not differ.
    """

    chance: Estimate
    p: float


def order(first: Sequence[float], second: Sequence[float]) -> Order:
    """Return whether the values of the first group tend to be greater than those of the second.

    The chance: E. R. DeLong, D. M. DeLong, D. L. Clarke-Pearson, Biometrics 44 (1988) 837-845, its interval on the
    scale of log odds (M. S. Pepe, The Statistical Evaluation of Medical Tests (2003), chapter 5; from memory), so that
    it stays between 0 and 1. p: H. B. Mann, D. R. Whitney, Annals of Mathematical Statistics 18 (1947) 50-60, by the
    normal distribution, with its correction for ties.

    Raises:
        ValueError: a group has fewer than two values.
    """
    if min(len(first), len(second)) < 2:
        raise ValueError("two values of each group are the least that can be held together")
    ranks = mid_ranks([*first, *second])
    of_first = _placements(ranks[: len(first)], first, len(second))
    of_second = _placements(ranks[len(first) :], second, len(first))
    chance = math.fsum(of_first) / len(first)
    error = math.sqrt(_variance(of_first) / len(first) + _variance(of_second) / len(second))
    return Order(_chance_interval(chance, error, min(len(first), len(second))), _order_p(chance, first, second))


def mid_ranks(values: Sequence[float]) -> list[float]:
    """Return the rank of each value, from 1; equal ones share the mean of theirs."""
    last = dict(zip(sorted(values), range(1, len(values) + 1), strict=True))
    times = Counter(values)
    return [last[value] - (times[value] - 1) / 2.0 for value in values]


def _placements(ranks: Sequence[float], group: Sequence[float], others: int) -> list[float]:
    """Return of each value the share of the other group that is smaller."""
    return [(rank - own) / others for rank, own in zip(ranks, mid_ranks(group), strict=True)]


def _variance(values: Sequence[float]) -> float:
    mean = math.fsum(values) / len(values)
    return math.fsum((value - mean) ** 2 for value in values) / (len(values) - 1)


def _chance_interval(chance: float, error: float, fewer: int) -> Estimate:
    """Return the interval; of groups that lie apart, by Wilson's of ``fewer`` values with none on the other side."""
    if chance in (0.0, 1.0):
        _, low, high = wilson(round(chance) * fewer, fewer)
        return Estimate(chance, low, high)
    odds, half = math.log(chance / (1.0 - chance)), _Z * error / (chance * (1.0 - chance))
    return Estimate(chance, _from_log_odds(odds - half), _from_log_odds(odds + half))


def _from_log_odds(odds: float) -> float:
    return (1.0 + math.tanh(odds / 2.0)) / 2.0


def _order_p(chance: float, first: Sequence[float], second: Sequence[float]) -> float:
    count = len(first) + len(second)
    ties = sum(times**3 - times for times in Counter([*first, *second]).values())
    variance = (count + 1 - ties / (count * (count - 1))) / (12.0 * len(first) * len(second))
    if variance <= 0.0:
        return 1.0
    return math.erfc(abs(chance - 0.5) / math.sqrt(2.0 * variance))


def holm(chances: Sequence[float]) -> list[float]:
    """Return each p value adjusted for there being so many of them.

    Source: S. Holm, A simple sequentially rejective multiple test procedure, Scandinavian Journal of Statistics 6
    (1979) 65-70.
    """
    adjusted = [0.0] * len(chances)
    reached = 0.0
    for place, which in enumerate(sorted(range(len(chances)), key=chances.__getitem__)):
        reached = max(reached, min((len(chances) - place) * chances[which], 1.0))
        adjusted[which] = reached
    return adjusted
