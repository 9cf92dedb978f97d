"""What failures go with is found where it was put, and seldom where it was not."""

import random
from collections.abc import Callable, Mapping

import pytest

from rover.trials.ranking import FEWEST, Link, can_tell, rank
from rover.trials.trial import TrialRow
from tests.trials.rows import failure, success

Values = Mapping[str, float | str]
TRIALS = 300


def values(drawn: random.Random) -> Values:
    return {
        "bench.range.missing": drawn.uniform(0.0, 0.2),
        "bench.floor.bias": drawn.uniform(-10.0, 10.0),
        "robot.body.track": drawn.uniform(20.0, 28.0),
        "bench.light": drawn.choice(["bright", "dim", "flicker"]),
        "robot.jaws": drawn.choice(["soft", "hard"]),
    }


def campaign(seed: int, fails: Callable[[Values], float], trials: int = TRIALS) -> list[TrialRow]:
    """Return trials with values drawn, each failing with the chance that they give."""
    drawn = random.Random(seed)
    rows = []
    for number in range(1, trials + 1):
        of_trial = values(drawn)
        rows.append((failure if drawn.random() < fails(of_trial) else success)(number, drawn=of_trial))
    return rows


def first(rows: list[TrialRow]) -> Link:
    return rank(rows, {"bench.floor.bias": "deg"})[0]


def test_a_number_that_harms_where_it_is_high_comes_first() -> None:
    rows = campaign(1, lambda drawn: 0.6 if float(drawn["bench.range.missing"]) > 0.15 else 0.1)
    link = first(rows)
    assert (link.parameter, link.where, link.is_shown) == ("bench.range.missing", "high", True)
    assert link.chance.low > 0.5
    assert link.worse.share.low > link.better.share.high
    assert link.worse.trials == link.better.trials == TRIALS / 3
    edge = sorted(float(row.drawn["bench.range.missing"]) for row in rows)[2 * TRIALS // 3]
    assert link.worse.what == f"{edge:.3g} or more"


def test_one_that_harms_where_it_is_low_is_said_to() -> None:
    link = first(campaign(2, lambda drawn: 0.5 if float(drawn["robot.body.track"]) < 22 else 0.1))
    assert (link.parameter, link.where, link.is_shown) == ("robot.body.track", "low", True)


def test_a_bias_that_harms_whatever_its_sign_is_seen_by_its_distance_from_the_middle() -> None:
    link = first(campaign(3, lambda drawn: 0.5 if abs(float(drawn["bench.floor.bias"])) > 7 else 0.1))
    assert (link.parameter, link.where, link.is_shown) == ("bench.floor.bias", "far from its middle", True)
    assert "deg or more away from" in link.worse.what


def test_a_word_is_held_against_all_others() -> None:
    link = first(campaign(4, lambda drawn: 0.4 if drawn["bench.light"] == "flicker" else 0.1))
    assert (link.parameter, link.where, link.is_shown) == ("bench.light", "flicker", True)
    assert (link.worse.what, link.better.what) == ("flicker", "anything else")


def test_a_word_that_alone_does_no_harm_is_said_to() -> None:
    link = first(campaign(5, lambda drawn: 0.02 if drawn["bench.light"] == "dim" else 0.4))
    assert (link.where, link.worse.what) == ("not dim", "anything else")


def test_of_two_words_the_worse_is_named() -> None:
    link = first(campaign(6, lambda drawn: 0.4 if drawn["robot.jaws"] == "soft" else 0.1))
    assert (link.parameter, link.where, link.better.what) == ("robot.jaws", "soft", "hard")


def test_the_strongest_comes_first_and_what_may_be_luck_last() -> None:
    def fails(drawn: Values) -> float:
        strong, weak = float(drawn["bench.range.missing"]) > 0.12, drawn["robot.jaws"] == "soft"
        return 0.05 + 0.5 * strong + 0.15 * weak

    links = rank(campaign(7, fails, 1000), {})
    assert [link.parameter for link in links[:2]] == ["bench.range.missing", "robot.jaws"]
    assert [link.is_shown for link in links] == sorted((link.is_shown for link in links), reverse=True)
    assert {link.parameter for link in links} == set(values(random.Random(1)))


def test_nothing_is_told_of_few_failures_or_few_successes() -> None:
    few = [failure(number, drawn={"near": float(number)}) for number in range(FEWEST - 1)]
    many = [success(number, drawn={"near": float(number)}) for number in range(100, 200)]
    assert not can_tell([*few, *many])
    assert rank([*few, *many], {}) == []
    assert can_tell([*few, *many, failure(300)])


def test_what_is_the_same_in_all_trials_goes_with_nothing() -> None:
    rows = [(failure if number < 50 else success)(number, drawn={"near": 0.2}) for number in range(100)]
    assert rank(rows, {}) == []


@pytest.mark.parametrize("high_share", [0.1, 0.5, 0.9])
def test_numbers_of_which_many_are_equal_stay_in_one_group(high_share: float) -> None:
    drawn = random.Random(8)
    rows = []
    for number in range(400):
        tries = 3.0 if drawn.random() < high_share else 1.0
        rows.append((failure if drawn.random() < 0.2 * tries else success)(number, drawn={"tries": tries}))
    (link,) = rank(rows, {})
    assert (link.where, link.worse.what, link.better.what) == ("high", "3 or more", "1 or less")
    assert link.worse.trials + link.better.trials == 400


def test_where_nothing_harms_something_is_shown_in_no_more_than_5_percent_of_campaigns() -> None:
    """Of all that was looked at: the bar is three standard errors of 400 campaigns above 5 %."""
    shown = [first(campaign(seed, lambda drawn: 0.15, 150)).is_shown for seed in range(400)]
    assert sum(shown) / len(shown) <= 0.083


def test_the_interval_of_what_is_shown_holds_the_truth_in_about_95_percent_of_campaigns() -> None:
    """A trial fails with chance 0.7 x, x from 0 to 1: failures have density 2 x, successes (1 - 0.7 x) / 0.65.

    That a failed trial has the greater x has the chance of the integral over 2 x (x - 0.35 x x) / 0.65, 0.7564.
    """
    truth = (2 / 3 - 0.7 / 4) / 0.65
    held = []
    for seed in range(2000):
        drawn = random.Random(seed)
        rows = []
        for number in range(100):
            x = drawn.random()
            rows.append((failure if drawn.random() < 0.7 * x else success)(number, drawn={"x": x}))
        (link,) = rank(rows, {})
        chance = link.chance if link.where == "high" else None
        held.append(chance is not None and chance.low <= truth <= chance.high)
    assert 0.935 <= sum(held) / len(held) <= 0.975
