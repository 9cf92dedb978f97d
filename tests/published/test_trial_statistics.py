"""The statistics of trials against scipy, statsmodels and published examples.

statsmodels is imported where it is used: that takes seconds, and collecting tests should not.
"""

import random
from collections.abc import Iterator

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from rover.trials.statistics import (
    Pairs,
    chance_variance,
    fisher,
    holm,
    mann_whitney,
    mcnemar,
    mid_ranks,
    order,
    paired_difference,
    quantile,
    two_values_interval,
    wilson,
)

counts = st.integers(0, 60)
few_values = st.lists(st.integers(0, 8).map(float), min_size=2, max_size=30)


@st.composite
def shares(draw: st.DrawFn, most: int = 10_000) -> tuple[int, int]:
    trials = draw(st.integers(1, most))
    return draw(st.integers(0, trials)), trials


@given(shares())
def test_wilson_as_both_libraries_have_it(share: tuple[int, int]) -> None:
    from statsmodels.stats import proportion

    here = wilson(*share)
    low, high = proportion.proportion_confint(*share, alpha=0.05, method="wilson")
    theirs = stats.binomtest(*share).proportion_ci(0.95, method="wilson")
    assert (here.low, here.high) == pytest.approx((low, high), abs=1e-12)
    assert (here.low, here.high) == pytest.approx((theirs.low, theirs.high), abs=1e-12)


@pytest.mark.parametrize(
    ("successes", "trials", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_wilson_as_published(successes: int, trials: int, low: float, high: float) -> None:
    """R. G. Newcombe, Statistics in Medicine 17 (1998) 857-872, table I, score method (from memory)."""
    assert wilson(successes, trials)[1:] == pytest.approx((low, high), abs=6e-5)


@given(counts, counts, counts, counts)
def test_mcnemar_as_both_libraries_have_it(both: int, first: int, second: int, neither: int) -> None:
    from statsmodels.stats import contingency_tables

    here = mcnemar(Pairs(both, first, second, neither))
    theirs = contingency_tables.mcnemar([[both, first], [second, neither]], exact=True).pvalue
    assert here == pytest.approx(min(theirs, 1.0), abs=1e-12)
    if first + second:
        assert here == pytest.approx(stats.binomtest(first, first + second).pvalue, abs=1e-12)


def test_paired_differences_as_published() -> None:
    """M. W. Fagerland, S. Lydersen, P. Laake, Statistics in Medicine 33 (2014) 2850-2875 (from memory).

    Their first example: airway hyper-responsiveness before and after a transplantation, 21 children; the 'Newcombe
    square-and-add' interval, and p of the exact test.
    """
    pairs = Pairs(1, 1, 7, 12)
    assert paired_difference(pairs) == pytest.approx((-0.286, -0.507, -0.026), abs=6e-4)
    assert mcnemar(pairs) == pytest.approx(0.0703, abs=5e-5)


@given(st.lists(st.floats(-100, 100), min_size=1, max_size=120), st.sampled_from([0.05, 0.5, 0.9, 0.95]))
def test_quantiles_as_scipy_has_them(values: list[float], share: float) -> None:
    """Where scipy has no end of an interval it says NaN."""
    here = quantile(values, share)
    theirs = stats.quantile_test(values, q=0.0, p=share).confidence_interval(0.95)
    assert here.value == np.quantile(values, share, method="inverted_cdf")
    for end, other in ((here.low, theirs.low), (here.high, theirs.high)):
        assert end == other if end is not None else other != other


@given(few_values, few_values)
def test_ranks_and_mann_whitney_as_scipy_has_them(first: list[float], second: list[float]) -> None:
    both = [*first, *second]
    assert mid_ranks(both) == pytest.approx(stats.rankdata(both).tolist())
    theirs = stats.mannwhitneyu(first, second, method="asymptotic", use_continuity=False)
    chance = order(first, second).chance.value
    assert chance == pytest.approx(theirs.statistic / (len(first) * len(second)))
    if len(set(both)) > 1:
        assert mann_whitney(chance, first, second) == pytest.approx(theirs.pvalue, abs=1e-9)
    else:
        assert mann_whitney(chance, first, second) == 1.0


def tables() -> Iterator[tuple[int, int, int, int]]:
    drawn = random.Random(3)
    for _ in range(200):
        of_first, of_second = drawn.randint(1, 60), drawn.randint(1, 400)
        yield drawn.randint(0, of_first), of_first, drawn.randint(0, of_second), of_second


def test_fisher_as_scipy_has_it() -> None:
    for first, of_first, second, of_second in tables():
        theirs = stats.fisher_exact([[first, of_first - first], [second, of_second - second]]).pvalue
        assert fisher(first, of_first, second, of_second) == pytest.approx(theirs, abs=1e-9)


def test_differences_of_independent_shares_as_statsmodels_has_them() -> None:
    from statsmodels.stats import proportion

    for table in tables():
        low, high = proportion.confint_proportions_2indep(*table, method="newcomb", compare="diff")
        here = two_values_interval(*table)
        assert (2.0 * here.low - 1.0, 2.0 * here.high - 1.0) == pytest.approx((low, high), abs=1e-9)


def test_the_variance_of_an_area_as_published() -> None:
    """J. A. Hanley, B. J. McNeil, Radiology 143 (1982) 29-36: 0.893 of 51 and 58 images, standard error 0.032."""
    assert chance_variance(0.893, 51, 58) ** 0.5 == pytest.approx(0.032, abs=5e-4)


@given(st.lists(st.floats(0, 1), min_size=1, max_size=12))
@settings(max_examples=15)
def test_holm_as_statsmodels_has_it(chances: list[float]) -> None:
    from statsmodels.stats import multitest

    assert holm(chances) == pytest.approx(multitest.multipletests(chances, method="holm")[1].tolist())
