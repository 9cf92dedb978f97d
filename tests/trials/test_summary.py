"""What a campaign's rows come to."""

import random

import pytest
from scipy import stats

from rover.trials.asked import Asked
from rover.trials.statistics import Pairs, wilson
from rover.trials.summary import MOST_BINS, WORST, ObjectFigures, Summary, pairs_of, summarise
from rover.trials.trial import Ended, TrialRow
from tests.trials.rows import LEFT, OBJECTS, command_of, failure, rows, success, truth


def summed(of: list[TrialRow], *variants: str, count: int = 100, units: dict[str, str] | None = None) -> Summary:
    return summarise(of, Asked("errand.yaml", count, variants or ("",), units=units or {}), command_of)


@pytest.mark.parametrize(("trials", "true_share"), [(50, 0.9), (40, 0.85), (30, 0.6)])
def test_the_printed_interval_holds_the_true_share_in_about_95_percent_of_campaigns(
    trials: int, true_share: float
) -> None:
    """2,000 campaigns. Wilson's coverage goes up and down with share and number (93 to 98 %, except near 100 %).

    What it exactly is with these is the sum of the chances of all outcomes whose interval has the true share; 1.5 % is
    three standard errors.
    """
    exact = sum(
        stats.binom.pmf(successes, trials, true_share)
        for successes in range(trials + 1)
        if wilson(successes, trials).low <= true_share <= wilson(successes, trials).high
    )
    drawn = random.Random(21)
    held = 0
    for _ in range(2000):
        share = summed(rows(drawn.random() < true_share for _ in range(trials))).variants[0].share
        held += share is not None and share.low <= true_share <= share.high
    assert held / 2000 == pytest.approx(exact, abs=0.015)
    assert 0.93 <= held / 2000 <= 0.98


def test_a_variant_in_figures() -> None:
    of = [
        success(1, axis_errors_m=(0.010, 0.020), robot_time_s=700.0),
        success(2, truth=truth(bumps=3), axis_errors_m=(0.030,), robot_time_s=800.0),
        failure(3, axis_errors_m=(0.400,), truth=truth(OBJECTS - 2, bumps=1), robot_time_s=2000.0),
        failure(4, result="stopped", reason="stop input open"),
        failure(5, result="error", reason="KeyError: 'x'", counted=0, truth=None, error="KeyError: 'x'"),
    ]
    (one,) = summed(of).variants
    assert (one.trials, one.successes, one.share) == (5, 2, wilson(2, 5))
    there = 2 * OBJECTS + 2 * (OBJECTS - 2)
    assert one.objects == ObjectFigures(
        counted=there, believed=0, known=4, in_tray=there, of=4 * OBJECTS, bumped=2, bumps=4
    )
    assert (one.stops, one.errors) == (1, 1)
    assert one.half_s is not None
    assert one.most_s is not None
    assert (one.half_s.value, one.most_s.value) == (700.0, 800.0), "of successes alone"
    assert one.axis_errors is not None
    assert (one.axis_errors.number, one.axis_errors.half, one.axis_errors.worst) == (4, 0.020, 0.400)


def test_no_trials_yet_come_to_nothing() -> None:
    summary = summed([])
    (one,) = summary.variants
    assert (one.trials, one.share, one.half_s, one.axis_errors) == (0, None, None, None)
    assert (summary.failures, summary.worst, summary.raised, summary.comparisons) == ((), (), (), ())


def test_where_nobody_knows_the_truth_only_what_is_counted_is_known() -> None:
    (one,) = summed([success(1, truth=None)]).variants
    assert one.objects == ObjectFigures(counted=OBJECTS, believed=0, known=0, in_tray=0, of=0, bumped=0, bumps=0)


def test_the_bins_of_errors_hold_all_finds_however_far_the_worst_is() -> None:
    errors = (0.0, 0.004, 0.005, 0.012, *(0.02 for _ in range(200)), 3.0)
    figures = summed([success(1, axis_errors_m=errors)]).variants[0].axis_errors
    assert figures is not None
    assert sum(figures.bins) == figures.number == len(errors)
    assert len(figures.bins) == MOST_BINS
    assert figures.bins[-1] == 1
    assert figures.bin_m == 0.002


def test_only_trials_that_both_variants_have_are_pairs() -> None:
    first, second = rows([True, True, False, True]), rows([True, False, True], "other")
    assert pairs_of(first, second) == Pairs(1, 1, 1, 0)
    assert pairs_of(first, [success(1, "other"), failure(9, "other")]) == Pairs(1, 0, 0, 0)


def test_variants_are_held_against_the_first_one() -> None:
    first = rows([True] * 90 + [False] * 10)
    worse = rows([True] * 60 + [False] * 40, "worse")
    alike = rows([True] * 89 + [False] * 11, "alike")
    real, luck = summed([*worse, *first, *alike], "", "worse", "alike").comparisons
    assert (real.first, real.other, real.pairs, real.is_real) == ("", "worse", Pairs(60, 30, 0, 10), True)
    assert real.difference is not None
    assert 0.2 < real.difference.low < 0.3 == real.difference.value < real.difference.high
    assert (luck.other, luck.is_real) == ("alike", False)
    assert luck.would_tell is not None
    assert luck.would_tell > 100


def test_the_more_variants_the_more_it_takes_to_tell_them_apart() -> None:
    """0 of 6 that differ: p is 1/32 for one comparison; adjusted for two it is no longer below 5 %."""
    first, other = rows([True] * 30), rows([True] * 24 + [False] * 6, "other")
    (alone,) = summed([*first, *other], "", "other").comparisons
    assert alone.p == pytest.approx(1 / 32)
    beside, _ = summed([*first, *other, *rows([True] * 30, "third")], "", "other", "third").comparisons
    assert beside.p == pytest.approx(2 / 32)


def test_a_variant_without_trials_yet_is_not_compared() -> None:
    (one,) = summed(rows([True] * 5), "", "other").comparisons
    assert (one.pairs.number, one.difference, one.is_real) == (0, None, False)


def test_failures_that_ended_alike_are_one_kind_whatever_the_figures_in_them() -> None:
    lost = Ended("pick_up/approach", "position", "counts, heading")
    of = [
        failure(1),
        failure(2, result="stopped", reason="position known to 0.41 m", ended=lost),
        success(3),
        failure(4, result="stopped", reason="position known to 0.38 m", ended=lost),
        failure(5, result="stopped", reason="position known to 0.38 m", ended=LEFT),
    ]
    kinds = summed(of).failures
    assert [(kind.why, kind.ended, kind.count, kind.seed) for kind in kinds] == [
        ("stopped: position known to 0.41 m", lost, 2, 2),
        ("failed (some_left)", LEFT, 1, 1),
        ("stopped: position known to 0.38 m", LEFT, 1, 5),
    ]
    assert kinds[0].command == "rover rehearse errand.yaml --seed 2"


def test_the_worst_of_each_kind_comes_first_and_the_worst_kind_of_all() -> None:
    of = [
        success(1, axis_errors_m=(0.5,)),
        failure(2),
        failure(3, truth=truth(2), counted=2),
        failure(4, result="stopped", reason="stop input open"),
        failure(5, result="done", reason="all_in", counted=OBJECTS, truth=truth(OBJECTS - 1)),
        failure(6, result="error", reason="worker lost", truth=None),
        *(success(number) for number in range(7, 20)),
    ]
    shown = summed(of).worst
    assert [one.seed for one in shown] == [5, 4, 3, 1, 2]
    assert len(shown) == WORST
    assert shown[0].what.startswith("done, but counted what is not there; 8 of 9 in the tray, 9 counted")
    assert shown[0].command == "rover rehearse errand.yaml --seed 5"


def test_deliveries_of_nothing_are_told() -> None:
    (one,) = summed([failure(1, result="done", truth=truth(OBJECTS, empty=1), counted=OBJECTS)]).worst
    assert one.what == "done, but counted what is not there; deliveries of nothing: 1; 900 s"


def test_what_was_raised_is_told_once_with_its_seeds_and_the_whole_traceback() -> None:
    traceback = 'Traceback:\n  File "nudge.py", line 12, in step\n    table[{}]\nKeyError: {}\n'
    of = [
        success(1),
        *(success(number, error=traceback.format(number, number)) for number in (2, 5)),
        failure(7, result="error", reason="a worker ended by itself three times", truth=None),
    ]
    code, worker = summed(of).raised
    assert (code.last_line, code.seeds) == ("KeyError: 2", (2, 5))
    assert code.traceback == traceback.format(2, 2)
    assert (worker.last_line, worker.traceback) == ("a worker ended by itself three times", "")
