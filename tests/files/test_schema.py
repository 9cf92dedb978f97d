"""The JSON Schema of a kind of file takes what is right, and refuses mistakes that one place alone can show.

Validated by the `jsonschema` library (draft 7).
"""

import json
from pathlib import Path

import pytest
import yaml

from rover.files import load, yaml_source
from rover.files.schema import schema_of, schema_of_any
from rover.project.files import files_of
from rover.project.questions import QUESTIONS

jsonschema = pytest.importorskip("jsonschema", reason="needs jsonschema: pip install -c constraints.txt -e '.[dev]'")
ROOT = Path(__file__).parents[2]
SHIPPED = sorted(
    [*ROOT.glob("config/*.yaml"), *ROOT.glob("behaviours/**/*.yaml"), *ROOT.glob("tools/floors/robots/*.yaml")]
)
TABLES = ROOT / "tests/broken"
VALIDATORS = {kind: jsonschema.Draft7Validator(schema_of(kind)) for kind in load.KINDS}
ANY = jsonschema.Draft7Validator(schema_of_any())


def mistakes(text: str) -> list[str]:
    """Return what is wrong with a file, by the schema of its kind."""
    source = yaml_source.read_text(text, Path("a.yaml"), "a.yaml")
    kind = load.kind_of(source)
    found = [f"{'.'.join(map(str, one.path))}: {one.message}" for one in VALIDATORS[kind].iter_errors(source.values)]
    assert ANY.is_valid(source.values) == (not found)
    return found


@pytest.mark.parametrize("kind", load.KINDS)
def test_each_is_a_schema(kind):
    VALIDATORS[kind].check_schema(schema_of(kind))
    json.dumps(schema_of(kind))


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: str(path.relative_to(ROOT)))
def test_every_shipped_file_is_right_by_it(path):
    assert mistakes(path.read_text("utf-8")) == []


@pytest.mark.parametrize("motors", ["board", "pins"])
def test_so_is_every_file_of_a_new_project(motors):
    for path, text in files_of({one.name: one.usual for one in QUESTIONS} | {"motors": motors}).items():
        if path.suffix == ".yaml":
            assert mistakes(text) == [], path


@pytest.mark.parametrize("path", sorted(TABLES.glob("good/*.yaml")), ids=lambda path: path.name)
def test_so_is_every_file_from_which_broken_ones_are_made(path):
    assert mistakes(path.read_text("utf-8")) == []


@pytest.mark.parametrize(
    "notices",
    [
        "{on: stop, mail: {server: m.example.org, sender: a@b.org, to: c@d.org}}",
        "{on: [find, end], mail: {server: m.example.org, sender: a@b.org, to: [c@d.org, e@f.org], security: tls}}",
        '{command: tell, templates: {find: {subject: "{kind}"}}}',
    ],
)
def test_so_are_notices(notices):
    assert mistakes(f"{(TABLES / 'good/errand.yaml').read_text('utf-8')}notices: {notices}\n") == []


def edited(good: str, edits: dict[str, str]) -> str:
    text = (TABLES / f"good/{good}.yaml").read_text("utf-8")
    for old, new in edits.items():
        assert text.count(old) == 1
        text = text.replace(old, new)
    return text


def rows(table: str) -> dict[str, str]:
    """Return the broken files of a table, by name."""
    values = yaml.safe_load((TABLES / f"{table}.yaml").read_text("utf-8"))
    return {
        name: row["text"] if "text" in row else edited(row.get("good", values["good"]), row["edit"])
        for name, row in values["rows"].items()
        if ("text" in row or "edit" in row) and row["says"]
    }


REFUSED = {
    "robot": (
        *("missing_unit", "wrong_unit", "unit_in_wrong_case", "decimal_comma", "negative_length", "unknown_choice"),
        *("misspelt_key_in_body", "misspelt_device", "missing_key", "list_for_a_block", "hue_beyond_the_scale"),
        *("unknown_driver", "without_a_device_for_a_bare_number", "key_of_another_device", "name_with_capitals"),
    ),
    "driver_robot": ("key_of_another_driver", "misspelt_required_key", "link_missing", "misspelt_key_of_a_side"),
    "own_robot": (
        "neither_family_nor_signals",
        "misspelt_key_of_a_signal",
        "contact_on_no_side",
        "output_without_rest",
    ),
    "errand": ("boundary_with_two_points", "point_of_three", "missing_unit_in_a_point", "expect_in_words"),
    "behaviour": (
        *("two_natures", "no_nature", "when_and_after", "neither_when_nor_after", "until_without_when", "no_go"),
        *("final_with_exits", "start_without_states", "misspelt_key_of_an_exit", "confirmation_without_of"),
    ),
    "bench": ("span_of_three", "wrong_unit_in_a_span", "negative_count", "misspelt_key_in_floor"),
    "keys": ("misspelt_kind", "misspelt_key_of_a_key", "nothing_said_about_it"),
}
"""Rows of the tables of broken files, of each what the schema shows as well."""


@pytest.mark.parametrize(("table", "row"), [(table, row) for table, some in REFUSED.items() for row in some])
def test_a_mistake_is_refused(table, row):
    assert mistakes(rows(table)[row])


def test_keys_have_what_the_reference_says_of_them():
    body = schema_of("robot")["definitions"]["Body"]["properties"]
    assert body["track"]["description"] == "Between the middles of the left and the right wheels."
