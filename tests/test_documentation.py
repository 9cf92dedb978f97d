"""The tables of the reference pages say what the code does: keys, defaults, signals, activities, rules."""

import re
from pathlib import Path

from rover import quantities
from rover.activities.registry import specs
from rover.behaviour.vocabulary import PLACES, SIGNALS
from rover.devices.families import FAMILIES
from rover.files.behaviour import Behaviour, Exit, State, Tries
from rover.files.driver_keys import KINDS
from rover.files.fault_table import FAULTS
from rover.files.faults import parse_fault
from rover.files.notices import PLACEHOLDERS
from rover.files.reference import put_into, tables
from rover.files.types import keys_of
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


# The tables of config/README.md against the file models.


def test_the_tables_of_keys_are_those_of_the_models():
    """Where this fails, ``python -m rover.files.reference config/README.md`` puts them in."""
    page = FILES.read_text("utf-8")
    assert put_into(page) == page


def test_no_other_table_of_keys_is_there():
    chapter, found = "", set()
    for part in re.split(r"(?m)^(?=##)", FILES.read_text("utf-8")):
        heading = part.partition("\n")[0]
        chapter = heading.removeprefix("## ") if heading.startswith("## ") else chapter
        if "\n| Key |" in part:
            found |= {(chapter, block) for block in (spans(heading) if heading.startswith("###") else [""])}
    assert found == {*tables()} - {("Drivers", ""), ("Faults", "")}


def test_how_the_robot_goes_on_without_a_device_is_there():
    table = sections(FILES)["Robot file", "`limits.without`"]
    told = {spans(device)[0]: spans(default)[0] for device, default, _ in table}
    assert told == {name: family.without for name, family in FAMILIES.items() if family.reports}


def test_the_kinds_of_keys_of_ones_own_are_there():
    table = sections(FILES)["Drivers", "Drivers of your own"]
    assert {kind for row in table for kind in spans(row[0])} == {*KINDS, "[soft, hard]"}


def test_units_are_all_there():
    assert {unit for row in rows(FILES, "Units") for unit in spans(row[1])} - {"30 %", "0.3"} == set(quantities.UNITS)


def test_every_fault_is_there_and_the_lines_of_the_page_are_read():
    told = {(who.split(" <")[0], spans(fault)[0]) for of, fault, _ in rows(FILES, "Faults") for who in spans(of)}
    assert told == {(who, fault.form) for fault in FAULTS for who in fault.of}
    section = FILES.read_text("utf-8").partition("\n## Faults\n")[2]
    lines = re.findall(r"(?m)^- ((?:at|on) .+?)(?:\s+#.*)?$", section)
    assert len(lines) > 8
    for line in lines:
        parse_fault(line)


def test_every_placeholder_of_a_notice_is_there_with_what_it_means():
    heading = "`notices.templates.find`, `notices.templates.stop`, `notices.templates.end`"
    told = {row[0].strip("`"): row[1] for row in sections(FILES)["Errand file", heading] if len(row) == 2}
    due = {
        occasion: ", ".join(f"`{{{name}}}` {about}" for name, about in known.items())
        for occasion, known in PLACEHOLDERS.items()
    }
    assert told == due


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
    due = {(where, key) for where, model in models.items() for key in keys_of(model)}
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
