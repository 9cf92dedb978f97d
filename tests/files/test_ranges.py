"""How a value is spread, and mistakes in a ranges file."""

import statistics

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError
from scipy import stats

from rover.files.ranges import RangesFile, Spread

SHARES = [(number + 0.5) / 1000 for number in range(1000)]


def drawn(**keys: object) -> list[float]:
    spread = Spread.model_validate(keys)
    return [spread.at(share)[0] for share in SHARES]


def test_between_two_values_all_are_alike_likely() -> None:
    values = drawn(between=["10 cm", "30 cm"])
    assert stats.kstest(values, stats.uniform(10, 20).cdf).pvalue > 0.99


def test_by_ratio_each_doubling_is_alike_likely() -> None:
    values = drawn(between=["1 s", "16 s"], by="ratio")
    assert [sum(low <= value < 2 * low for value in values) for low in (1, 2, 4, 8)] == pytest.approx([250] * 4, abs=1)


def test_around_a_middle_values_are_normal_and_cut_at_three_sigmas() -> None:
    values = drawn(around="1 cm", sigma="2 mm")
    assert statistics.fmean(values) == pytest.approx(1.0, abs=1e-3)
    assert stats.kstest(values, stats.truncnorm(-3, 3, loc=1.0, scale=0.2).cdf).pvalue > 0.99


def test_within_cuts_elsewhere() -> None:
    assert min(drawn(around="1 cm", sigma="2 mm", within=["1 cm", "14 mm"])) >= 1.0
    assert max(drawn(around="1 cm", sigma="2 mm", within=["1 cm", "14 mm"])) <= 1.4


def test_one_of_some_values_comes_equally_often() -> None:
    spread = Spread(one_of=["mild.yaml", "steel.yaml"])
    assert [spread.at(share)[0] for share in SHARES].count("mild.yaml") == 500


def test_a_value_stands_as_in_a_file_in_the_unit_of_the_first() -> None:
    assert Spread.model_validate({"between": ["80 ms", "0.15 s"]}).at(0.5) == (115.0, "115 ms")
    assert Spread.model_validate({"between": [1, 2]}).at(0.5) == (1.5, 1.5)


@given(st.floats(0.0, 1.0), st.floats(0.01, 1e4), st.floats(0.01, 1e4), st.sampled_from(["difference", "ratio"]))
def test_what_is_drawn_lies_between(share: float, one: float, other: float, by: str) -> None:
    low, high = sorted((float(f"{one:.6g}"), float(f"{other:.6g}")))
    value = Spread.model_validate({"between": [f"{low:f} m", f"{high:f} m"], "by": by}).at(share)[0]
    assert low * (1 - 1e-5) <= value <= high * (1 + 1e-5)


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        ({}, "one of 'between', 'around' and 'one_of' is due"),
        ({"between": ["1 m", "2 m"], "one_of": [1]}, "one of 'between', 'around' and 'one_of' is due"),
        ({"between": ["1 m", "2 s"]}, "not all of one kind"),
        ({"between": ["1 m", "20 cm"]}, "the lower value comes first"),
        ({"between": ["0 m", "1 m"], "by": "ratio"}, "a ratio needs values above zero"),
        ({"between": ["1 m", "2 m"], "sigma": "1 m"}, "this goes with 'around', not with 'between'"),
        ({"around": "1 m"}, "a 'sigma' is due beside this"),
        ({"around": "1 m", "sigma": "0 m"}, "must be more than zero"),
        ({"around": "1 m", "sigma": "1 cm", "within": ["5 m", "6 m"]}, "the distribution has nothing there"),
        ({"between": ["1 furlong", "2 m"]}, "'furlong' is not a unit"),
        ({"between": [True, 2]}, "a number is due here"),
        ({"one_of": []}, "at least 1 item"),
    ],
)
def test_a_spread_that_cannot_be(keys: dict[str, object], said: str) -> None:
    with pytest.raises(ValidationError, match=said):
        Spread.model_validate(keys)


def test_a_key_that_leads_nowhere() -> None:
    with pytest.raises(ValidationError, match="'benc' is no file of an errand"):
        RangesFile.model_validate({"ranges": "R", "draw": {"benc.floor.slip": {"one_of": [1]}}})
