"""Numbers that no machine has; the table's keys are those of the models, and all defaults lie within."""

from pathlib import Path

import pytest

from rover.files.bounds import BOUNDS, note_what_cannot_be
from rover.files.load import KINDS, model_at
from rover.files.types import Model, keys_of
from rover.files.yaml_source import Source, read_text
from rover.quantities import parse

ROWS = [(kind, key) for kind, rows in BOUNDS.items() for key in rows]


def source(text: str, path: Path) -> Source:
    return read_text(text, path, "robot.yaml")


@pytest.mark.parametrize(("kind", "key"), ROWS)
def test_bounds_are_of_one_dimension_and_in_order(kind: str, key: str) -> None:
    least, most = map(parse, BOUNDS[kind][key])
    assert least.dimension == most.dimension
    assert least.value < most.value


@pytest.mark.parametrize(
    ("value", "is_told"),
    [
        ("5 Hz", False),
        ("4.9 Hz", True),
        ("200 Hz", False),
        ("1 kHz", True),
        ("72 mm", False),
        ("fast", False),
        ("yes", False),
    ],
)
def test_what_lies_outside_is_told_and_nothing_else(value: str, is_told: bool, tmp_path: Path) -> None:
    read = source(f"robot: Cart\nloop: {value}\n", tmp_path)
    note_what_cannot_be(read)
    assert [(problem.line, problem.column) for problem in read.problems] == ([(2, 7)] if is_told else [])


def test_a_device_of_ones_own_name_has_the_bounds_of_its_family(tmp_path: Path) -> None:
    read = source("robot: Cart\ndevices:\n  eye: {family: camera, height: 30 m}\n  nose: {height: 30 m}\n", tmp_path)
    note_what_cannot_be(read)
    assert [problem.line for problem in read.problems] == [3]


def test_a_mistake_that_is_told_already_is_not_told_twice(tmp_path: Path) -> None:
    read = source("robot: Cart\nloop: 0 Hz\n", tmp_path)
    read.report(("loop",), "must be more than zero")
    note_what_cannot_be(read)
    assert len(read.problems) == 1


VALUES = {"devices": {"drive": {"driver": "h_bridge"}}}


def block_of(kind: str, key: str) -> tuple[type[Model], str]:
    """Return the model of the block that a key of the table stands in, and its name there."""
    parts = key.removesuffix(".*.*.*").removesuffix(".*.*").split(".")
    if parts[:2] == ["devices", "*"]:
        parts[1] = "range"
    block = model_at(KINDS[kind], tuple(parts[:-1]), values=VALUES)
    assert block is not None
    return block, parts[-1]


@pytest.mark.parametrize(("kind", "key"), ROWS)
def test_each_key_is_one_of_the_models_and_its_default_lies_within(kind: str, key: str) -> None:
    block, name = block_of(kind, key)
    assert name in keys_of(block)
    default = block.model_fields[name].get_default()
    if isinstance(default, float):
        least, most = map(parse, BOUNDS[kind][key])
        assert least.value <= default <= most.value
