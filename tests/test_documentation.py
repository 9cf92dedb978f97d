"""The reference pages say what the code does: keys, defaults, signals, activities, examples and command lines."""

import re
import shlex
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

import pytest
import yaml
from pydantic import BaseModel, TypeAdapter

from rover import quantities
from rover.activities.registry import specs
from rover.cli import commands
from rover.devices.registry import BUILT_IN
from rover.files import load, yaml_source
from rover.files.behaviour import Behaviour, Exit, State, Tries
from rover.files.bench import DEVICE_FAULTS, BenchFile, parse_fault
from rover.files.robot import Device
from rover.graph.build import Builder
from rover.graph.vocabulary import PLACES, SIGNALS, Choice, Kind, Number, Place, Truth
from rover.runtime.checking import check_file

ROOT = Path(__file__).parents[1]
LANGUAGE, FILES = ROOT / "behaviours" / "README.md", ROOT / "config" / "README.md"
PAGES = (ROOT / "README.md", ROOT / "DEVELOPERS.md", LANGUAGE, FILES)
SPECS = specs()
NONE = "–"


class Block(NamedTuple):
    """A fenced block: where it stands, its language and its text."""

    where: str
    language: str
    text: str

    @property
    def file(self) -> str | None:
        """The file that it is meant as, where its first line is a comment that says so."""
        match = re.match(r"# (\S+\.yaml)\n", self.text)
        return match[1] if match else None


def blocks(page: Path) -> Iterator[Block]:
    text = page.read_text("utf-8")
    for match in re.finditer(r"^```(\w*)\n(.*?)^```$", text, re.MULTILINE | re.DOTALL):
        line = text.count("\n", 0, match.start()) + 1
        yield Block(f"{page.relative_to(ROOT)}:{line}", match[1], match[2])


BLOCKS = [block for page in PAGES for block in blocks(page)]
EXAMPLES = [block for block in BLOCKS if block.language == "yaml"]
COMMANDS = [
    (block.where, line)
    for block in BLOCKS
    if block.language == "sh"
    for line in block.text.splitlines()
    if line.startswith("rover ")
]


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


def rows(page: Path, chapter: str, columns: int) -> list[list[str]]:
    return [row for row in sections(page)[chapter, ""] if len(row) == columns]


@pytest.fixture
def project(tmp_path: Path) -> Path:
    """The project's files, with those that the pages let a reader write."""
    for folder in ("behaviours", "config"):
        shutil.copytree(ROOT / folder, tmp_path / folder)
    for block in EXAMPLES:
        if block.file:
            (tmp_path / block.file).write_text(block.text, encoding="utf-8")
    return tmp_path


# The key tables of config/README.md against the file models.


def key_blocks(model: type[BaseModel], path: str = "") -> Iterator[tuple[str, type[BaseModel], list[str]]]:
    """Yield (path, model, keys due in its table) of a model and of those inside it."""
    keys = load.keys_of(model)
    if issubclass(model, Device) and model is not Device:
        common = Device.model_fields
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
        yield "devices.<device>", Device, load.keys_of(Device)


CHAPTERS = {"robot": "Robot file", "errand": "Errand file", "bench": "Bench file"}
KEY_BLOCKS = [
    pytest.param(CHAPTERS[kind], *block, id=f"{kind} {block[0]}")
    for kind in CHAPTERS
    for block in key_blocks(load.KINDS[kind])
]


def table_of(chapter: str, path: str) -> dict[str, list[str]]:
    """Return the rows of a block's table by key; one table may serve several blocks."""
    for (found, section), cells in sections(FILES).items():
        if found == chapter and (path in spans(section) or path == section == ""):
            return {spans(row[0])[0]: row for row in cells}
    return {}


@pytest.mark.parametrize(("chapter", "path", "model", "keys"), KEY_BLOCKS)
def test_every_key_stands_in_the_table_of_its_block_and_no_other(chapter, path, model, keys):
    assert list(table_of(chapter, path)) == keys


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
            type_of_key: Any = TypeAdapter(Any if field.annotation is None else field.rebuild_annotation())
            assert type_of_key.validate_python(written) == pytest.approx(field.default), key


def test_units_drivers_and_faults_are_all_there():
    assert {unit for row in rows(FILES, "Units", 2) for unit in spans(row[1])} - {"30 %", "0.3"} == set(
        quantities.UNITS
    )
    drivers = {spans(device)[0]: set(spans(names)) for device, names in rows(FILES, "Drivers", 2)}
    assert drivers == {family: set(built_in) for family, built_in in BUILT_IN.items()}
    faults = {spans(device)[0]: spans(names) for device, names in rows(FILES, "Faults", 2)}
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
    told = {
        name: (kind, devices) for names, kind, devices, _ in rows(LANGUAGE, "Signals", 4) for name in spans(names)
    }
    assert told == {
        name: (in_words(signal.kind), ", ".join(signal.devices) or NONE) for name, signal in SIGNALS.items()
    }


def test_every_place_is_there():
    assert {spans(row[0])[0] for row in rows(LANGUAGE, "Places", 2)} == {*PLACES, "field.places.<name>"}


def test_every_activity_is_there_with_what_it_needs_and_how_it_ends():
    told = {
        spans(name)[0]: (needs, done != "never", failed != "never")
        for name, needs, _, done, failed in rows(LANGUAGE, "Activities", 5)
        if spans(done) == [] and (name, needs) and not spans(name)[0] in told_parameters()
        or spans(name)[0] in SPECS
    }
    assert told == {
        name: (", ".join(spec.needs) or NONE, spec.ends, spec.can_fail) for name, spec in SPECS.items()
    }
