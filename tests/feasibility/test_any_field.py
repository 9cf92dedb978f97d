"""Whatever the field is, it is checked: nothing but `FileProblems` is raised, and each has a place and a cause."""

import math
from pathlib import Path

import yaml
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rover.files.problems import FileProblems, Problem
from rover.readiness.files import check_file
from tests.feasibility.conftest import ERRAND

CORNERED = [
    [["0 m", "0 m"], ["6 m", "0 m"], ["6 m", "4 m"], ["0 m", "4 m"]],
    [["0 m", "0 m"], ["6 m", "0 m"], ["6 m", "2 m"], ["4 m", "2 m"], ["4 m", "4 m"], ["0 m", "4 m"]],
    [["6 m", "2 m"], ["0 m", "2 m"], ["0 m", "0 m"], ["5 m", "0 m"]],
]
"""Boundaries that have the corner of 4 x 2 m in which most things are put."""


def lengths(low: float, high: float) -> st.SearchStrategy[str]:
    return st.one_of(st.integers(math.ceil(low), math.floor(high)).map(float), st.floats(low, high)).map(
        lambda metres: f"{metres:.2f} m"
    )


ACROSS, UP, SIDES = lengths(0.0, 4.0), lengths(0.0, 2.0), lengths(0.01, 1.2)
ENDS = st.tuples(lengths(-1.0, 7.0), lengths(-1.0, 5.0)).map(list)
POINTS = st.tuples(ACROSS, UP).map(list)
HEADINGS = st.sampled_from(["0 deg", "45 deg", "90 deg", "-170 deg"])
PLACES = st.fixed_dictionaries({"x": ACROSS, "y": UP}, optional={"heading": HEADINGS})
FIELDS = st.fixed_dictionaries(
    {"boundary": st.sampled_from(CORNERED), "start": PLACES},
    optional={
        "zone": st.fixed_dictionaries(
            {"x": ACROSS, "y": UP, "width": SIDES, "depth": SIDES}, optional={"entry": HEADINGS, "marker": POINTS}
        ),
        "walls": st.lists(st.tuples(ENDS, ENDS).map(list), max_size=4).map(
            lambda walls: {f"wall_{number}": ends for number, ends in enumerate(walls)}
        ),
        "lookouts": st.lists(POINTS, max_size=3),
        "places": st.dictionaries(st.sampled_from(["door", "tank"]), PLACES),
    },
)


def found_in(path: Path) -> tuple[Problem, ...]:
    try:
        return check_file(path).warnings
    except FileProblems as error:
        return error.problems


@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(field=FIELDS, expect=st.none() | st.integers(0, 40))
def test_any_field_is_checked(field: dict[str, object], expect: int | None, project: Path) -> None:
    errand = yaml.safe_load((project / ERRAND).read_text("utf-8")) | {"field": field}
    if "zone" not in field:
        errand["files"]["behaviour"] = "../behaviours/roam.yaml"
    if expect is not None:
        errand["expect"] = expect
    path = project / "config" / "drawn.yaml"
    path.write_text(yaml.safe_dump(errand, sort_keys=False), "utf-8")
    assert all(problem.line >= 1 and problem.why for problem in found_in(path))
