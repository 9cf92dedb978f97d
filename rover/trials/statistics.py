"""What trials tell, and how surely: shares, pairs, quantiles and orders, each with its 95 % interval.

Closed forms in plain Python, so that results can be looked at on any computer; the tests hold them against scipy and
statsmodels.
"""

import math
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
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
    return min(2 * tail / (1 << differing), 1.0)


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
    """Return about how many pairs in all would show such a difference (5 %, two-sided) in four cases of five.

    None where there is no difference, so that no number would. A guide: it takes the shares seen for the true ones, and
    `mcnemar`, which is exact, shows the difference a little less often (76 to 79 % of the times in the tests).

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
        yield math.exp(_log_ways(count, number) + number * success + (count - number) * failure)


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

    Of two different values there are shares to be held together, of more there are ranks: see what is called here.

    Raises:
        ValueError: a group is empty.
    """
    if not (first and second):
        raise ValueError("an empty group has no order")
    different = set(first) | set(second)
    if len(different) == 2:
        upper = max(different)
        shares = (first.count(upper), len(first), second.count(upper), len(second))
        return Order(two_values_interval(*shares), fisher(*shares))
    ranks = mid_ranks([*first, *second])
    pairs_greater = math.fsum(ranks[: len(first)]) - len(first) * (len(first) + 1) / 2.0
    chance = pairs_greater / (len(first) * len(second))
    return Order(chance_interval(chance, len(first), len(second)), mann_whitney(chance, first, second))


def mid_ranks(values: Sequence[float]) -> list[float]:
    """Return the rank of each value, from 1; equal ones share the mean of theirs."""
    last = dict(zip(sorted(values), range(1, len(values) + 1), strict=True))
    times = Counter(values)
    return [last[value] - (times[value] - 1) / 2.0 for value in values]


def mann_whitney(chance: float, first: Sequence[float], second: Sequence[float]) -> float:
    """Return p of the chance that a value of the first group is the greater, by the normal distribution.

    Source: H. B. Mann, D. R. Whitney, On a test of whether one of two random variables is stochastically larger than
    the other, Annals of Mathematical Statistics 18 (1947) 50-60; with the correction for equal values.
    """
    count = len(first) + len(second)
    ties = sum(times**3 - times for times in Counter([*first, *second]).values())
    variance = (count + 1 - ties / (count * (count - 1))) / (12.0 * len(first) * len(second))
    return math.erfc(abs(chance - 0.5) / math.sqrt(2.0 * variance)) if variance > 0.0 else 1.0


def chance_interval(chance: float, first: int, second: int) -> Estimate:
    """Return the interval of the chance that one of ``first`` values is greater than one of ``second``.

    Its ends are the chances from which this one is just as far as luck goes. It holds with few values and for groups
    that lie apart; where one group is much wider than the other it is too narrow, with many equal values too wide.

    Source: R. G. Newcombe, Confidence intervals for an effect size measure based on the Mann-Whitney statistic, part 2,
    Statistics in Medicine 25 (2006) 559-573, method 5 (from memory).
    """

    def is_within(other: float) -> bool:
        return abs(chance - other) <= _Z * math.sqrt(chance_variance(other, first, second))

    return Estimate(chance, _last(is_within, chance, 0.0), _last(is_within, chance, 1.0))


def chance_variance(chance: float, first: int, second: int) -> float:
    """Return the variance with which such a chance is seen.

    Source: J. A. Hanley, B. J. McNeil, The meaning and use of the area under a receiver operating characteristic (ROC)
    curve, Radiology 143 (1982) 29-36, both groups with the mean of their numbers.
    """
    pairs_beside = (first + second) / 2.0 - 1.0
    along = pairs_beside * ((1.0 - chance) / (2.0 - chance) + chance / (1.0 + chance))
    return chance * (1.0 - chance) * (1.0 + along) / (first * second)


def _last(holds: Callable[[float], bool], start: float, end: float) -> float:
    """Return the last number from ``start``, where it holds, towards ``end`` at which it does."""
    if holds(end):
        return end
    for _ in range(50):
        middle = (start + end) / 2.0
        start, end = (middle, end) if holds(middle) else (start, middle)
    return start


def fisher(first: int, of_first: int, second: int, of_second: int) -> float:
    """Return the chance of shares at least as unlike as ``first`` of ``of_first`` and ``second`` of ``of_second``.

    Two-sided, exact: that of all tables with these sums that are no more likely than this one. Source: R. A. Fisher,
    Statistical Methods for Research Workers, 5th ed. (1934), section 21.02 (from memory).
    """
    both = first + second

    def ways(number: int) -> float:
        return _log_ways(of_first, number) + _log_ways(of_second, both - number)

    possible = range(max(0, both - of_second), min(of_first, both) + 1)
    total, seen = _log_ways(of_first + of_second, both), ways(first)
    return min(math.fsum(math.exp(ways(number) - total) for number in possible if ways(number) <= seen + 1e-7), 1.0)


def _log_ways(count: int, number: int) -> float:
    """Return the logarithm of the number of ways to choose ``number`` of ``count``."""
    return math.lgamma(count + 1) - math.lgamma(number + 1) - math.lgamma(count - number + 1)


def two_values_interval(first: int, of_first: int, second: int, of_second: int) -> Estimate:
    """Return the chance of `Order`, where so many of each group have the greater of two values.

    It is 0.5 and half the difference of the shares. Source of that one's interval: R. G. Newcombe, Interval estimation
    for the difference between independent proportions, Statistics in Medicine 17 (1998) 873-890, method 10.
    """
    one, other = wilson(first, of_first), wilson(second, of_second)
    below = _side(one.value - one.low, other.high - other.value, 0.0)
    above = _side(one.high - one.value, other.value - other.low, 0.0)
    difference = one.value - other.value
    return Estimate(*(0.5 + 0.5 * value for value in (difference, difference - below, difference + above)))


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
