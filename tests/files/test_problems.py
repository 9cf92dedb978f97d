import pickle

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.files.problems import FileProblems, Problem, meant, nearest


def test_a_problem_is_one_line_with_its_place_first() -> None:
    assert str(Problem("cart.yaml", 3, 5, "trak", "unknown key")) == "cart.yaml:3:5: 'trak': unknown key"
    assert str(Problem("cart.yaml", 3, 5, "", "is empty")) == "cart.yaml:3:5: is empty"
    assert str(Problem("cart.yaml", 3, 5, "", "odd", warning=True)) == "cart.yaml:3:5: warning: odd"


def test_problems_come_in_the_order_of_files_and_lines_and_each_once() -> None:
    late, early, other = (Problem(*place, "", "why") for place in (("b", 12, 1), ("b", 2, 1), ("a", 90, 1)))
    assert FileProblems([late, early, other, early]).problems == (other, early, late)


def test_problems_come_through_from_another_process_as_they_were() -> None:
    problems = FileProblems([Problem("cart.yaml", 3, 5, "trak", "unknown key")])
    assert str(pickle.loads(pickle.dumps(problems))) == "cart.yaml:3:5: 'trak': unknown key"


@pytest.mark.parametrize(
    ("word", "known", "spelling"),
    [
        ("trak", ["track", "length"], "track"),
        ("Track", ["track"], "track"),
        ("hz", ["Hz", "kHz"], "Hz"),
        ("CM", ["m", "cm"], "cm"),
        ("zebra", ["track"], None),
        ("", ["track"], None),
    ],
)
def test_the_nearest_spelling(word: str, known: list[str], spelling: str | None) -> None:
    assert meant(word, known) == spelling


def test_where_nothing_is_near_a_short_list_is_shown_and_a_long_one_is_not() -> None:
    assert nearest("zebra", ["b", "a"]) == " (known here: a, b)"
    assert nearest("zebra", [f"key{number}" for number in range(21)]) == ""
    assert nearest("zebra", []) == ""


@given(st.text(), st.text())
def test_a_problem_never_steers_the_terminal(text: str, why: str) -> None:
    shown = str(Problem("cart.yaml", 1, 1, text, why))
    assert shown.isprintable()
    assert len(shown) < 10 * 700
