"""Values given for one rehearsal: they stand where the file has others, and mistakes are told of what was given."""

from pathlib import Path

import pytest

from rover.files.given import Given
from rover.files.problems import FileProblems
from rover.session.assembly import Assembly, assemble

GREENHOUSE = Path(__file__).parents[2] / "config/greenhouse.yaml"


def given(*faults: str, **values: object) -> Assembly:
    return assemble(
        GREENHOUSE, {}, given=Given({key.replace("__", "."): value for key, value in values.items()}, faults)
    )


def test_a_value_stands_in_place_of_the_files() -> None:
    made = given(bench__floor__slip="3 %", robot__body__track="30 cm", errand__field__start__x="1 m")
    assert made.bench.floor.slip == (0.03, 0.03)
    assert made.robot.body.track == 0.30
    assert made.errand.field.start.x == 1.0


def test_what_is_not_given_stays() -> None:
    assert given(bench__floor__slip="3 %").bench.scatter == given().bench.scatter


def test_a_name_without_a_dot_is_a_setting() -> None:
    assert given(near="30 cm").graph != given().graph


def test_another_file_may_be_given_and_values_in_it() -> None:
    made = given(errand__files__bench="steel.yaml", bench__floor__bias_scale="2 m")
    assert (made.bench.bench, made.bench.floor.bias_scale) == ("Steel floor, nine jars", (2.0, 2.0))


def test_blocks_and_lists_that_the_file_lacks_are_made() -> None:
    made = given(bench__objects__0={"kind": "teal", "x": "3 m", "y": "2 m"}, bench__objects__0__y="1 m")
    assert [(one.kind, one.x, one.y) for one in made.bench.objects] == [("teal", 3.0, 1.0)]


def test_faults_are_added_to_those_of_the_file() -> None:
    made = given("at 3 s: heading silent for 2 s", bench__faults=["at 1 s: camera frozen"])
    assert [fault.device for fault in made.bench.faults] == ["camera", "heading"]


@pytest.mark.parametrize(
    ("key", "value", "said"),
    [
        (
            "benc.floor.slip",
            "3 %",
            "'benc.floor.slip': a key begins with errand, robot or bench; did you mean 'bench'?",
        ),
        ("bench.flor.slip", "3 %", "'bench.flor.slip': unknown key; did you mean 'floor'?"),
        ("bench.floor.slp", "3 %", "'bench.floor.slp': unknown key; did you mean 'slip'?"),
        ("bench.floor.slip", "3 m", "'bench.floor.slip': '3 m' is a length, but a plain number is due"),
        ("bench.objects.3.x", "1 m", "'bench.objects.3.x': there is nothing to be found at 'objects.3'"),
        ("robot.devices.range.beam.x", "1 m", "there is nothing to be found at 'devices.range.beam.x'"),
        ("nearr", "1 m", "'nearr': the behaviour has no setting 'nearr'; did you mean 'near'?"),
        ("errand.files.bench", "stel.yaml", "there is no file"),
    ],
)
def test_a_mistake_is_told_of_what_was_given(key: str, value: str, said: str) -> None:
    with pytest.raises(FileProblems) as caught:
        assemble(GREENHOUSE, {}, given=Given({key: value}))
    (problem,) = caught.value.problems
    assert str(problem).startswith("--given:")
    assert said in str(problem)


def test_a_mistake_in_a_fault_is_told_of_the_fault() -> None:
    with pytest.raises(FileProblems, match=r"^--fault: 'at 3 s: heading silnt'"):
        given("at 3 s: heading silnt")


def test_an_errand_without_a_bench_has_none_to_change() -> None:
    path = GREENHOUSE.parent / "greenhouse.yaml"
    with pytest.raises(FileProblems, match="names no 'bench:'"):
        assemble(
            path,
            {},
            given=Given(
                {
                    "errand.files": {"robot": "cart.yaml", "behaviour": "../behaviours/collect.yaml"},
                    "bench.floor.slip": "3 %",
                }
            ),
        )
