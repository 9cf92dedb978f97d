"""The tables of keys, and the models that they are made of."""

import ast
from typing import Annotated, Any

import pytest
from pydantic import TypeAdapter

from rover.devices.families import FAMILIES
from rover.devices.range.keys import EchoPinsKeys, RangeKeys
from rover.files import reference
from rover.files.reference import KeyRow
from rover.files.robot import Body, Robot
from rover.files.types import Due, Model, keys_of
from rover.files.yaml_source import read_text

ROWS = [row for _, rows in reference._blocks("", Robot) for row in rows]


class Lamp(Model):
    """A block with keys of all forms."""

    pin: Annotated[int, Due("pin")]
    """Where it
    is wired."""
    lasts: float = 3.0
    words: tuple[float, float] = (1.0, 2.5)
    lit: bool = False
    body: Body | None = None


def cells(model: type[Model]) -> list[list[str]]:
    table = reference._table([KeyRow(model, key) for key in keys_of(model)])
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in table.splitlines()[2:]]


def test_a_row_has_unit_default_and_the_text_below_the_key() -> None:
    assert cells(Lamp) == [
        ["`pin`", "pin", "required", "Where it is wired."],
        ["`lasts`", "", "`3`", "As above."],
        ["`words`", "", "`[1, 2.5]`", "As above."],
        ["`lit`", "", "`no`", "As above."],
        ["`body`", "block", reference.NOTHING, "As above."],
    ]


def test_a_default_is_told_as_it_is_written() -> None:
    assert ["`ahead`", "length", "`12 cm`", "From the robot's middle forward to the sensor's face."] in cells(RangeKeys)


def test_a_driver_adds_its_rows_to_those_of_its_family() -> None:
    rows = list(reference._family_rows(RangeKeys))
    assert KeyRow(EchoPinsKeys, "trigger", ("echo_pins",)) in rows
    assert KeyRow(RangeKeys, "least") in rows
    assert not [row for row in rows if row.key in ("gpio", "overdue_after")], "they are common, with that default"


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row.model.__name__}.{row.key}")
def test_every_key_has_a_unit_and_a_default_of_that_unit(row: KeyRow) -> None:
    assert reference._unit(row)
    if written := reference._text_of(reference._written(row).default):
        value = read_text(f"key: {written}", reference.Path(), "default").values["key"]
        type_of_key: Any = TypeAdapter(row.model.model_fields[row.key].rebuild_annotation())
        assert type_of_key.validate_python(value) == row.model.model_fields[row.key].default


def test_a_key_without_a_line_about_it_restates_one_that_has() -> None:
    """``rate: Frequency = si("15 Hz")`` is told as 'As above.': only keys of all devices may be so."""
    of_families = [row for family in FAMILIES.values() for row in reference._family_rows(family.keys)]
    silent = {row.key for row in [*ROWS, *of_families] if not reference._written(row).meaning}
    assert silent <= {"rate", "overdue_after"}


@pytest.mark.parametrize(
    ("page", "why"),
    [
        ("", "no heading for"),
        ("## Robot file\n\nNothing here.\n", "there is no place for a table"),
        ("## Robot file\n\n### `body`, `marker`\n\n| Key |\n|---|\n", "or one does not do"),
    ],
)
def test_a_table_that_has_no_place_is_told(page: str, why: str) -> None:
    with pytest.raises(ValueError, match=why):
        reference.put_into(page)


def test_a_form_that_is_no_quantity_is_told_by_its_value() -> None:
    assert reference._text_of(ast.parse("si('12 cm')", mode="eval").body) == "12 cm"
    assert reference._text_of(ast.parse("(si('1 s'), si('2 s'))", mode="eval").body) == "[1 s, 2 s]"
    assert reference._text_of(ast.parse("math.pi", mode="eval").body) == ""
