"""What the terminal says of a campaign, and what `--json` has."""

import json
from collections.abc import Iterable
from typing import Literal

import pytest

from rover.trials.asked import Asked
from rover.trials.statistics import Estimate
from rover.trials.summary import Summary, summarise
from rover.trials.trial import TrialRow
from rover.trials.words import chance_words, lines, percent, plain, with_interval
from tests.trials.rows import command_of, failure, rows, success

Compares = Literal["errands", "safeguards", "values"]


def campaign(of: Iterable[TrialRow], *variants: str, compares: Compares = "errands", count: int = 200) -> Summary:
    return summarise(of, Asked("errand.yaml", count, variants or ("",), compares, units={"slip": "%"}), command_of)


def said(summary: Summary, title: str = "") -> list[str]:
    """Return the lines beneath a title, or all."""
    whole = list(lines(summary))
    section = whole[whole.index(title) + 1 :] if title else whole
    return section[: section.index("")] if title and "" in section else section


def outcomes(successes: int, trials: int = 200) -> list[bool]:
    return [number < successes for number in range(trials)]


@pytest.mark.parametrize(
    ("share", "text"),
    [
        (Estimate(0.41, 0.35, 0.47), "41 % (35 to 47 %)"),
        (Estimate(0.055, 0.012, 0.099), "5.5 % (1.2 to 9.9 %)"),
        (Estimate(0.995, 0.9803, 0.9987), "99.5 % (98.0 to 99.9 %)"),
        (Estimate(1.0, 0.963, 1.0), "100 % (96.3 to 100 %)"),
        (Estimate(0.0, 0.0, 0.2), "0 % (0 to 20 %)"),
        (Estimate(0.03, -0.01, 0.07), "3.0 % (-1.0 to 7.0 %)"),
    ],
)
def test_shares_in_percent(share: Estimate, text: str) -> None:
    assert with_interval(share) == text
    assert text.startswith(percent(share.value))


@pytest.mark.parametrize(
    ("p", "text"),
    [(0.0, "p < 0.001"), (0.0123, "p = 0.012"), (0.31, "p = 0.31"), (0.0496, "p = 0.0496"), (1.0, "p = 1")],
)
def test_chances(p: float, text: str) -> None:
    assert chance_words(p) == text


def test_a_campaign_of_one_variant() -> None:
    of = [success(number, axis_errors_m=(0.012,), robot_time_s=800.0 + number) for number in range(1, 100)]
    assert said(campaign([*of, failure(100)], count=100)) == [
        "errand.yaml: 100 trials",
        "",
        "                                as it is",
        "trials                          100",
        "successes                       99",
        "share, 95 % interval            99.0 % (94.6 to 99.8 %)",
        "objects in the tray             898 of 900",
        "objects counted                 898",
        "time of successes, median       850 s (840 to 860 s)",
        "time of successes, 95 %         895 s (889 to 899 s)",
        "axis errors, 50 %, 95 %, worst  12, 12, 12 mm",
        "bumps                           0 in 0 trials",
        "stops                           0",
        "errors                          0",
        "",
        "Where it went wrong:",
        "trials  why                 in state   by exit      seed",
        "     1  failed (some_left)  head_home  after 3 min   100",
        "",
        "The trials to look at first:",
        "seed 100: failed (some_left); 7 of 9 in the tray, 7 counted; 900 s",
        "    rover rehearse errand.yaml --seed 100",
        "seed 99: success; axis errors up to 12 mm; 899 s",
        "    rover rehearse errand.yaml --seed 99",
        "seed 98: success; axis errors up to 12 mm; 898 s",
        "    rover rehearse errand.yaml --seed 98",
        "seed 97: success; axis errors up to 12 mm; 897 s",
        "    rover rehearse errand.yaml --seed 97",
        "seed 96: success; axis errors up to 12 mm; 896 s",
        "    rover rehearse errand.yaml --seed 96",
    ]


def test_an_interrupted_campaign_says_how_far_it_is() -> None:
    summary = campaign([*rows([True] * 30), *rows([True] * 29, "other.yaml")], "", "other.yaml")
    assert said(summary)[0] == "errand.yaml: 59 of 400 trials so far"


def test_nothing_yet_is_said_without_a_share() -> None:
    whole = said(campaign([]))
    assert whole[0] == "errand.yaml: 0 of 200 trials so far"
    assert "share, 95 % interval            -" in whole


def side_by_side(first: list[bool], other: list[bool], compares: Compares = "errands", name: str = "other.yaml") -> str:
    (sentence,) = said(
        campaign([*rows(first), *rows(other, name)], "", name, compares=compares), "Side by side, on the same trials:"
    )
    return sentence


def test_a_real_difference_is_told_with_its_interval() -> None:
    assert side_by_side(outcomes(190), outcomes(171)) == (
        "as it is 190 of 200, other.yaml 171 of 200: the difference is real (p < 0.001); as it is succeeds in "
        "9.5 % (5.5 to 14.3 %) more of the trials"
    )


def test_the_better_one_is_named_whichever_it_is() -> None:
    assert side_by_side(outcomes(171), outcomes(190)).endswith(
        "other.yaml succeeds in 9.5 % (5.5 to 14.3 %) more of the trials"
    )


def test_no_difference_is_told_with_the_trials_that_would_tell() -> None:
    assert side_by_side(outcomes(182), outcomes(180)) == (
        "as it is 182 of 200, other.yaml 180 of 200: no difference shown (p = 0.5); about 590 more trials of each "
        "would tell"
    )


def test_where_neither_is_better_no_number_of_trials_is_named() -> None:
    assert side_by_side([True, False] * 100, [False, True] * 100).endswith(
        "no difference shown (p = 1); as many one way as the other, so that no number of trials can be named that "
        "would tell"
    )


def test_two_that_have_no_trial_in_common_are_not_compared() -> None:
    assert side_by_side(outcomes(10), []) == "other.yaml: no trial was run with this and with as it is yet"


def test_what_a_safeguard_is_worth() -> None:
    assert side_by_side(outcomes(182), outcomes(120), "safeguards", "without fixes") == (
        "without fixes: 120 of 200, with it 182 of 200; costs successes in 31 % (24 to 37 %) of the trials (p < 0.001)"
    )


def test_a_bench_that_is_too_kind_for_a_safeguard_is_said_to_be() -> None:
    assert side_by_side(outcomes(180), outcomes(182), "safeguards", "without tries") == (
        "without tries: 182 of 200, with it 180 of 200; no cost shown (p = 0.5), at most 1.1 % of the trials: the "
        "bench is too kind for it here"
    )


def test_trials_too_few_to_blame_the_bench_are_said_to_be() -> None:
    assert side_by_side(outcomes(7, 7), outcomes(3, 7), "safeguards", "without fixes") == (
        "without fixes: 3 of 7, with it 7 of 7; no cost shown (p = 0.12), but at most 84 % of the trials may be lost: "
        "the trials are too few; about 5 more trials of each would tell"
    )


def test_a_safeguard_that_does_harm_is_said_to() -> None:
    assert "better without it, by 31 % (24 to 37 %)" in side_by_side(
        outcomes(120), outcomes(182), "safeguards", "without tries"
    )


def test_of_what_differs_in_one_thing_only_the_first_is_told_where_it_tells_something() -> None:
    title = "What the failures go with:"
    names = ("as it is", "without fixes")
    broken = drawn_rows(200, 8.0, "without fixes")
    first, others = said(campaign([*drawn_rows(200, 9.0, "as it is"), *broken], *names, compares="safeguards"), title)
    assert first.startswith("as it is, mend this first: ")
    assert others == "of the others: in the page and with --json"
    few = drawn_rows(200, 9.95, "without fixes")
    assert title not in said(campaign([*drawn_rows(200, 20.0, "as it is"), *few], *names, compares="safeguards"))


def drawn_rows(trials: int, fails_above: float, variant: str = "") -> list[TrialRow]:
    """Return rows with slip drawn from 0 to 10 and a word; those with more slip than this fail."""
    return [
        (failure if slip > fails_above else success)(number, variant, {"slip": slip, "light": "dim"})
        for number in range(trials)
        for slip in (10.0 * (number * 7 % trials) / trials,)
    ]


def test_what_failures_go_with_is_said_with_shares_and_unit() -> None:
    assert said(campaign(drawn_rows(200, 9.0)), "What the failures go with:") == [
        "mend this first: fails more where slip is high: 28 % (19 to 40 %) of those with 6.65 % or more, "
        "0 % (0 to 5.4 %) of those with 3.3 % or less (p < 0.001)"
    ]


def test_too_few_failures_are_said_to_be() -> None:
    assert said(campaign(drawn_rows(200, 9.85)), "What the failures go with:") == [
        "too few to tell: 2 failures in 200 trials (5 failures and 5 successes are the least)"
    ]


def test_failures_that_go_with_nothing_that_was_drawn_are_said_to() -> None:
    of = [
        (failure if number % 5 == 0 else success)(number, drawn={"slip": float(number % 7)}) for number in range(1, 141)
    ]
    (line,) = said(campaign(of), "What the failures go with:")
    assert line == "nothing that was drawn; the nearest to it is slip, where high (p = 1)"


def test_without_ranges_or_failures_nothing_is_said_of_them() -> None:
    assert "What the failures go with:" not in said(campaign(rows([True] * 20 + [False] * 20)))
    assert "What the failures go with:" not in said(campaign(drawn_rows(200, 20.0)))


def test_many_kinds_of_failure_are_cut_and_counted() -> None:
    of = [failure(number, reason="left_" + "abcdefghijklmnop"[number % 16]) for number in range(32)]
    section = said(campaign(of), "Where it went wrong:")
    assert len(section) == 1 + 12 + 1
    assert section[-1] == "... and 8 more trials of 4 further kinds, in the page and with --json"


def test_a_long_cause_is_cut_in_the_table() -> None:
    _, row = said(campaign([failure(1, reason="x" * 200)]), "Where it went wrong:")
    assert f"failed ({'x' * 49}..." in row
    assert len(row) < 120


def test_what_was_raised_is_told_by_its_last_line_and_some_of_its_seeds() -> None:
    of = [success(number, error="Traceback:\n  in step\nKeyError: 'x'\n") for number in range(1, 9)]
    assert said(campaign(of), "What was raised:") == [
        "8 trials (seed 1, 2, 3, 4, 5, ...): KeyError: 'x'",
        "    rover rehearse errand.yaml --seed 1",
    ]


def test_more_variants_than_fit_stand_below_each_other() -> None:
    names = [f"slip={number} %" for number in range(5)]
    of = [row for name in names for row in rows([True] * 4, name)]
    whole = said(campaign(of, *names, compares="values", count=4))
    heads = [line.split() for line in whole if "slip=0 %" in line or "slip=3 %" in line]
    assert heads[:2] == [["slip=0", "%", "slip=1", "%", "slip=2", "%"], ["slip=3", "%", "slip=4", "%"]]


def test_json_has_all_of_it() -> None:
    summary = campaign([*drawn_rows(200, 9.0), *drawn_rows(150, 8.0, "other.yaml")], "", "other.yaml")
    there = json.loads(json.dumps(plain(summary), allow_nan=False))
    first, other = there["variants"]
    assert first["share"] == {
        "value": 0.905,
        "low": pytest.approx(0.8563, abs=1e-4),
        "high": pytest.approx(0.9383, abs=1e-4),
    }
    assert first["links"][0]["worse"]["what"] == "6.65 % or more"
    assert other["trials"] == 150
    assert there["comparisons"][0]["pairs"]["both"] > 0
    assert there["failures"][0]["ended"] == {"state": "head_home", "exit": "after 3 min", "device": ""}
    assert there["asked"]["count"] == 200
