"""The tables of keys and drivers in `config/README.md`, made of the models.

What a key means is the text below it in its model, and its default is written there with its unit.
``python -m rover.files.reference`` prints the tables; with the page's path as its argument it puts them into the page,
each under the heading that names its block.
"""

import ast
import inspect
import re
import sys
import textwrap
from collections.abc import Iterator, Sequence
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any, NamedTuple, get_args, get_origin

from rover.devices.families import FAMILIES, Devices
from rover.devices.keys import SCRIPTED, DeviceKeys, OnLink, OnPins, OnScript
from rover.devices.own import OwnDeviceKeys, OwnSignal
from rover.files.bench import BenchFile
from rover.files.errand import Errand
from rover.files.fault_table import FAULTS, NAMED
from rover.files.hard_seeds import HardSeedsFile
from rover.files.person import PersonFile
from rover.files.ranges import RangesFile
from rover.files.robot import Robot
from rover.files.types import Model, due_in, keys_of

NOTHING = "\N{EN DASH}"
_OWN = "Devices of your own"
_YOURS = "your own"
_COMMON: tuple[type[Model], ...] = (DeviceKeys, OnLink, OnPins, OnScript)
_TABLE = re.compile(r"^\| (?:Key|Device) \|.*\n(?:\|.*\n)+", re.MULTILINE)


class KeyRow(NamedTuple):
    """A key of a model, and the drivers that have it; none: all have it."""

    model: type[Model]
    key: str
    drivers: tuple[str, ...] = ()


def tables() -> dict[tuple[str, str], str]:
    """Return each table by its chapter and the block whose keys it has; that of a whole file is ''."""
    files: dict[str, type[Model]] = {
        "Robot file": Robot,
        "Errand file": Errand,
        "Bench file": BenchFile,
        "Ranges file": RangesFile,
        "Hard seeds": HardSeedsFile,
        "Person file": PersonFile,
    }
    found = {(chapter, path): _table(rows) for chapter, model in files.items() for path, rows in _blocks("", model)}
    found["Outputs of your own", "outputs.<name>"] = found.pop(("Robot file", "outputs.<name>"))
    own = [KeyRow(OwnDeviceKeys, key) for key in keys_of(OwnDeviceKeys) if key not in keys_of(DeviceKeys)]
    found[_OWN, "devices.<name>"] = _table(own)
    found[_OWN, "devices.<name>.signals.<name>"] = _table(_rows_of(OwnSignal))
    found["Faults", ""] = _faults()
    drivers = ([f"`{name}`", _in_code(family.keys.names())] for name, family in FAMILIES.items())
    return found | {("Drivers", ""): _lines_of([["Device", "Built-in drivers"], *drivers])}


def _blocks(path: str, model: type[Model]) -> Iterator[tuple[str, Sequence[KeyRow]]]:
    """Yield the place of a block and its rows, and those of the blocks in it."""
    yield path, _rows_of(model)
    if model is Devices:
        yield f"{path}.<device>", list(_common_rows())
        for name, family in FAMILIES.items():
            rows = list(_family_rows(family.keys))
            yield f"{path}.{name}", rows
            yield from _inner_blocks(f"{path}.{name}", rows)
    else:
        yield from _inner_blocks(path, _rows_of(model))


def _inner_blocks(path: str, rows: Sequence[KeyRow]) -> Iterator[tuple[str, Sequence[KeyRow]]]:
    for row in rows:
        block, several = _block_in(row.model.model_fields[row.key].annotation)
        if block is not None:
            yield from _blocks(f"{path}.{row.key}{several}".lstrip("."), block)


def _block_in(annotation: Any) -> tuple[type[Model] | None, str]:
    """Return the model of a block that stands under a key, and how the place of one of several is written."""
    if isinstance(annotation, type) and issubclass(annotation, Model):
        return annotation, ""
    several = {dict: ".<name>", list: "[]"}.get(get_origin(annotation) or annotation, "")
    found = (_block_in(inner)[0] for inner in get_args(annotation))
    return next((block for block in found if block is not None), None), several


def _rows_of(model: type[Model]) -> list[KeyRow]:
    return [KeyRow(model, key) for key in keys_of(model)]


def _common_rows() -> Iterator[KeyRow]:
    """Yield what drivers of several families have."""
    yield from _rows_of(DeviceKeys)
    models = [driver for family in FAMILIES.values() for driver in family.keys.DRIVERS.items()]
    for mixed_in in (OnLink, OnPins, OnScript):
        drivers = [name for name, model in models if issubclass(model, mixed_in)]
        for key in keys_of(mixed_in):
            yield KeyRow(mixed_in, key, tuple(dict.fromkeys(drivers)) or (SCRIPTED,))


def _family_rows(family: type[DeviceKeys]) -> Iterator[KeyRow]:
    """Yield what a family has besides, or has another default of; then what its drivers have besides."""
    common = {key for model in _COMMON for key in keys_of(model)}
    for key in keys_of(family):
        if key not in common or key in _fields_in(family):
            yield KeyRow(family, key)
    seen = common | set(keys_of(family))
    for model in family.DRIVERS.values():
        for key in keys_of(model):
            if key not in seen:
                seen.add(key)
                having = tuple(name for name, other in family.DRIVERS.items() if key in keys_of(other))
                yield KeyRow(model, key, having)
    for mixed_in in family.BESIDE_OWN:
        yield from (KeyRow(mixed_in, key, (_YOURS,)) for key in keys_of(mixed_in) if key not in seen)


def _faults() -> str:
    """Return the table of faults; what is the same for a side and for both stands in one row."""
    of: dict[tuple[str, str], list[str]] = {}
    for fault in FAULTS:
        of.setdefault((fault.form, fault.about), []).extend(
            f"{one} <{NAMED[one]}>" if one in NAMED else one for one in fault.of
        )
    return _lines_of(
        [
            ["Device", "Fault", "Meaning"],
            *([_in_code(who), f"`{form}`", f"{about[0].upper()}{about[1:]}."] for (form, about), who in of.items()),
        ]
    )


def _table(rows: Sequence[KeyRow]) -> str:
    is_by_driver = any(row.drivers for row in rows)
    lines = [["Key", "Unit", "Default", *(["Driver"] if is_by_driver else []), "Meaning"]]
    for row in rows:
        drivers = _YOURS if row.drivers == (_YOURS,) else _in_code(row.drivers) or "any"
        lines.append(
            [
                f"`{row.key}`",
                _unit(row),
                _default(row),
                *([drivers] if is_by_driver else []),
                meaning(row) or "As above.",
            ]
        )
    return _lines_of(lines)


def _lines_of(lines: Sequence[Sequence[str]]) -> str:
    head, *body = (f"| {' | '.join(line)} |\n" for line in lines)
    return "".join([head, "|---" * len(lines[0]), "|\n", *body])


def _in_code(names: Sequence[str]) -> str:
    return ", ".join(f"`{name}`" for name in names)


def _unit(row: KeyRow) -> str:
    annotation = row.model.model_fields[row.key].rebuild_annotation()
    block, several = _block_in(row.model.model_fields[row.key].annotation)
    blocks = {"": "block", "[]": "list of blocks", ".<name>": "blocks by name"}
    return due_in(annotation) or ("" if block is None else blocks[several])


def _default(row: KeyRow) -> str:
    field = row.model.model_fields[row.key]
    if field.is_required():
        return "required"
    default = field.get_default(call_default_factory=True)
    if default is None or default in ((), [], {}):
        return NOTHING
    return "all defaults" if isinstance(default, Model) else f"`{_text_of(_written(row).default) or _plain(default)}`"


def _text_of(written: ast.expr | None) -> str:
    """Return a default as it is written in the model: the text in ``si("12 cm")``, and '' for any other form."""
    match written:
        case ast.Call(func=ast.Name(id="si"), args=[ast.Constant(value=str(text))]):
            return text
        case ast.Tuple(elts=ends) if all(map(_text_of, ends)):
            return f"[{', '.join(map(_text_of, ends))}]"
    return ""


def _plain(default: Any) -> str:
    if isinstance(default, bool):
        return "yes" if default else "no"
    if isinstance(default, tuple):
        return f"[{', '.join(map(_plain, default))}]"
    return f"{default:g}" if isinstance(default, float) else str(default)


def meaning(row: KeyRow) -> str:
    """Return the text below a key in its model, '' where there is none."""
    return " ".join(_written(row).meaning.split())


class _Field(NamedTuple):
    """A field as it stands in the source: the default, and the text below it."""

    default: ast.expr | None
    meaning: str


def _written(row: KeyRow) -> _Field:
    return next(fields[row.key] for model in row.model.__mro__ if row.key in (fields := _fields_in(model)))


@cache
def _fields_in(model: type) -> dict[str, _Field]:
    """Return the fields that a class itself has, from its source: only there the texts below them are to be had."""
    if not issubclass(model, Model):
        return {}
    (statement,) = ast.parse(textwrap.dedent(inspect.getsource(model))).body
    assert isinstance(statement, ast.ClassDef)
    found = {}
    for field, below in pairwise([*statement.body, ast.Pass()]):
        match field, below:
            case ast.AnnAssign(target=ast.Name(id=name), value=default), ast.Expr(value=ast.Constant(value=str(text))):
                found[name] = _Field(default, text)
            case ast.AnnAssign(target=ast.Name(id=name), value=default), _:
                found[name] = _Field(default, "")
    return found


def put_into(page: str) -> str:
    """Return a page with its tables of keys made anew; one may serve several blocks that its heading names.

    Raises:
        ValueError: there is no place for one of the tables, or one would have to be two.
    """
    parts, due, chapter = re.split(r"(?m)^(?=#)", page), tables(), ""
    for at, part in enumerate(parts):
        heading = part.partition("\n")[0]
        chapter = heading.removeprefix("## ") if heading.startswith("## ") else chapter
        blocks = re.findall(r"`([^`]+)`", heading) if heading.startswith("###") else [""]
        texts = {due.pop((chapter, block)) for block in blocks if (chapter, block) in due}
        if len(texts) > 1 or (texts and not _TABLE.search(part)):
            raise ValueError(f"under '{heading}' there is no place for a table, or one does not do")
        for text in texts:
            parts[at] = _TABLE.sub(text.replace("\\", r"\\"), part, count=1)
    if due:
        raise ValueError(f"the page has no heading for {', '.join(f'{path} in {chapter}' for chapter, path in due)}")
    return "".join(parts)


if __name__ == "__main__":
    if len(sys.argv) > 1:
        path = Path(sys.argv[1])
        path.write_text(put_into(path.read_text("utf-8")), "utf-8")
    else:
        print("\n".join(f"## {chapter}: `{block}`\n\n{table}" for (chapter, block), table in tables().items()), end="")
