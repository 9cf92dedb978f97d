"""The tables of the reference pages say what the code does: keys, defaults, signals, activities, rules."""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from pydantic import BaseModel, TypeAdapter

from rover import quantities
from rover.activities.registry import specs
from rover.behaviour.vocabulary import PLACES, SIGNALS
from rover.devices.keys import DeviceKeys
from rover.devices.own import OwnDeviceKeys, OwnSignal
from rover.devices.registry import BUILT_IN
from rover.files import load, yaml_source
from rover.files.behaviour import Behaviour, Exit, State, Tries
from rover.files.faults import DEVICE_FAULTS, parse_fault
from rover.kinds import Choice, Kind, Number, PlaceName, Truth, WallName
from rover.readiness.files import check_file

ROOT = Path(__file__).parents[1]
LANGUAGE, FILES = ROOT / "behaviours" / "README.md", ROOT / "config" / "README.md"
SPECS = specs()
NONE = "\N{EN DASH}"


def sections(page: Path) -> dict[tuple[str, str], list[list[str]]]:
    """Return the cells of the tables' rows, without their heads, by (heading, heading below it)."""
    found: dict[tuple[str, str], list[list[str]]] = {}
    chapter = section = ""
    head = True
    for line in re.sub(r"^```.*?^```$", "", page.read_text("utf-8"), flags=re.MULTILINE | re.DOTALL).splitlines():
        if match := re.match(r"(##+) (.*)", line):
            chapter, section = (match[2], "") if match[1] == "##" else (chapter, match[2])
        elif line.startswith("|---"):
            head = False
        elif not line.startswith("|"):
            head = True
        elif not head:
            found.setdefault((chapter, section), []).append([cell.strip() for cell in line.strip("|").split("|")])
    return found


def spans(cell: str) -> list[str]:
    """Return what a cell has in code letters."""
    return re.findall(r"`([^`]+)`", cell)


def rows(page: Path, chapter: str) -> list[list[str]]:
    return sections(page)[chapter, ""]


# The key tables of config/README.md against the file models.


def key_blocks(model: type[BaseModel], path: str = "") -> Iterator[tuple[str, type[BaseModel], list[str]]]:
    """Yield (path, model, keys due in its table) of a model and of those inside it."""
    keys = load.keys_of(model)
    if issubclass(model, DeviceKeys) and model is not DeviceKeys:
        common = DeviceKeys.model_fields
        keys = [key for key in keys if key not in common or model.model_fields[key].default != common[key].default]
    yield path, model, keys
    for key in load.keys_of(model):
        inner = f"{path}.{key}" if path else key
        if block := load.model_at(model, (key,)):
            yield from key_blocks(block, inner)
        elif block := load.model_at(model, (key, "")):
            a_list = "list[" in str(model.model_fields[key].annotation)
            yield from key_blocks(block, f"{inner}[]" if a_list else f"{inner}.<name>")
    if path == "devices":
        yield "devices.<device>", DeviceKeys, load.keys_of(DeviceKeys)


OUTPUTS = "Outputs of your own"
CHAPTERS = {"robot": "Robot file", "errand": "Errand file", "bench": "Bench file"}
KEY_BLOCKS = [
    pytest.param(OUTPUTS if block[0] == "outputs.<name>" else CHAPTERS[kind], *block, id=f"{kind} {block[0]}")
    for kind in CHAPTERS
    for block in key_blocks(load.KINDS[kind])
]
KEY_BLOCKS += [
    pytest.param("Devices of your own", "devices.<name>", OwnDeviceKeys, ["signals", "contact"], id="own device"),
    pytest.param("Devices of your own", "devices.<name>.signals.<name>", OwnSignal, ["kind", "about"], id="own signal"),
]


def table_of(chapter: str, path: str) -> dict[str, list[str]]:
    """Return the rows of a block's table by key; one table may serve several blocks."""
    for (found, section), cells in sections(FILES).items():
        if found == chapter and (path in spans(section) or path == section == ""):
            return {spans(row[0])[0]: row for row in cells}
    return {}


@pytest.mark.parametrize(("chapter", "path", "model", "keys"), KEY_BLOCKS)
def test_every_key_stands_in_the_table_of_its_block_and_no_other(chapter, path, model, keys):
    assert sorted(table_of(chapter, path)) == sorted(keys)


def test_every_table_of_keys_is_that_of_a_block():
    known = {(block.values[0], block.values[1]) for block in KEY_BLOCKS}
    headings = [(chapter, path) for chapter, section in sections(FILES) for path in spans(section)]
    assert [heading for heading in headings if heading not in known] == []


@pytest.mark.parametrize(("chapter", "path", "model", "keys"), KEY_BLOCKS)
def test_the_defaults_are_those_of_the_code(chapter, path, model, keys):
    for key, (_, _, default, _) in table_of(chapter, path).items():
        field = model.model_fields[key]
        if field.is_required() or default == "required":
            assert (field.is_required(), default) == (True, "required"), key
        elif default in (NONE, "all defaults"):
            built = field.get_default(call_default_factory=True)
            assert (not built) if default == NONE else (built == type(built)()), key
        else:
            written = yaml_source.read_text(f"key: {spans(default)[0]}", Path(), key).values["key"]
            type_of_key: Any = TypeAdapter(field.rebuild_annotation())
            assert type_of_key.validate_python(written) == pytest.approx(field.default), key


def test_units_drivers_and_faults_are_all_there():
    assert {unit for row in rows(FILES, "Units") for unit in spans(row[1])} - {"30 %", "0.3"} == set(quantities.UNITS)
    drivers = {spans(device)[0]: set(spans(names)) for device, names in rows(FILES, "Drivers")}
    assert drivers == {family: set(built_in) for family, built_in in BUILT_IN.items()}
    faults = {spans(device)[0]: spans(names) for device, names in rows(FILES, "Faults")}
    for device, names in DEVICE_FAULTS.items():
        assert set(names) <= set(faults[device])
    for device, names in faults.items():
        for name in names:
            parse_fault(f"at 1 s: {device} {name}")


# The tables of behaviours/README.md against the vocabulary.


def in_words(kind: Kind) -> str:
    match kind:
        case Truth():
            return "yes or no"
        case Number(whole=True):
            return "whole number"
        case Number(dimension=quantities.NONE):
            return "number"
        case Number(dimension=dimension):
            return quantities.name_of(dimension).split(" ", 1)[1]
    return "word"


def test_every_signal_is_there_with_its_kind_and_devices():
    told = {name: (kind, devices) for names, kind, devices, _ in rows(LANGUAGE, "Signals") for name in spans(names)}
    assert told == {
        name: (in_words(signal.kind), ", ".join(signal.devices) or NONE) for name, signal in SIGNALS.items()
    }


def test_every_place_is_there():
    assert {spans(row[0])[0] for row in rows(LANGUAGE, "Places")} == {*PLACES, "field.places.<name>"}


def test_every_activity_is_there_with_what_it_needs_and_how_it_ends():
    told = {
        spans(name)[0]: (needs, done != "never", failed != "never")
        for name, needs, _, done, failed in sections(LANGUAGE)["Activities", ""]
    }
    assert told == {name: (", ".join(spec.needs) or NONE, spec.ends, spec.can_fail) for name, spec in SPECS.items()}


def parameters() -> dict[tuple[str, str], list[str]]:
    """Return unit and default by activity and parameter; a row without an activity goes on with that above it."""
    told, activity = {}, ""
    for name, parameter, unit, default, _ in sections(LANGUAGE)["Activities", "Parameters"]:
        activity = (spans(name) or [activity])[0]
        told[activity, spans(parameter)[0]] = [unit, default]
    return told


def unit_fits(unit: str, kind: Kind) -> bool:
    match kind:
        case Number(whole=True):
            return unit == "whole number"
        case Number(dimension=dimension):
            return {quantities.parse_unit(one)[0] for one in unit.split(", ")} == {dimension}
        case Choice(words=words):
            return unit == "a word" if words is None else set(spans(unit)) == words
        case PlaceName():
            return unit == "a place"
        case WallName():
            return unit == "name of a wall"
    return False


def test_every_parameter_is_there_with_its_unit():
    due = {(name, key): one for name, spec in SPECS.items() for key, one in spec.parameters.items()}
    told = parameters()
    assert set(told) == set(due)
    assert [key for key, (unit, _) in told.items() if not unit_fits(unit, due[key].kind)] == []
    assert {key for key, (_, default) in told.items() if default == "required"} == {
        key for key, one in due.items() if one.required
    }
    assert {key for key, (_, default) in told.items() if default == "one of the two"} == {
        (name, key) for name, spec in SPECS.items() for key in spec.one_of
    }


def test_the_keys_of_the_language_are_all_there():
    models = {"file": Behaviour, "state": State, "tries": Tries, "exit": Exit}
    due = {(where, key) for where, model in models.items() for key in load.keys_of(model)}
    table = rows(LANGUAGE, "The 18 keys")
    told = {
        (where.removesuffix(" under `always`"), spans(key)[0])
        for places, key, _ in table
        for where in places.split(", ")
    }
    assert told == due
    assert len(table) == 18


def test_every_rule_is_there_and_has_tests_that_name_it():
    told = re.findall(r"^- \*\*R(\d+) ", LANGUAGE.read_text("utf-8"), re.MULTILINE)
    assert told == [str(number) for number in range(1, 16)]
    tested = set(
        re.findall(
            r"def test_r(\d\d)_",
            "".join(path.read_text("utf-8") for path in (ROOT / "tests" / "behaviour").glob("test_rules*.py")),
        )
    )
    assert tested == {f"{int(number):02}" for number in told}


def test_what_a_confirmation_buys_is_as_printed():
    """The two lines shown are those of the demo errand, but for the place of the exit."""
    printed = "\n".join(check_file(ROOT / "config" / "greenhouse.yaml").lines)
    for figures in (r"delay \(s\) .*  exit", r"0\.20 +0\.0012 +1  ", r"0\.30 +3e-05 +0\.098  "):
        assert re.search(figures, printed)
    shown = re.findall(r"^    ( *(?:delay|0\.20) .*)$", LANGUAGE.read_text("utf-8"), re.MULTILINE)
    assert len(shown) == 2
    assert all(line.split("when")[0].strip() in printed for line in shown)
