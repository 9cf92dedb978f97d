"""Files -> typed models: what kind a file is, its model, and every mistake with its place."""

import typing
from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

from pydantic import ValidationError

from rover.errors import A_LOOP, is_loop
from rover.files import shipped, yaml_source
from rover.files.bare_keys import bare_keys, why_bare
from rover.files.behaviour import Behaviour
from rover.files.bench import BenchFile
from rover.files.bounds import note_what_cannot_be
from rover.files.driver_keys import DriverKeysFile, file_of, kept_file_of
from rover.files.errand import Errand
from rover.files.given import NOTHING, Given
from rover.files.hard_seeds import HardSeedsFile
from rover.files.misplaced import BLOCK_DUE, ModelAt, goes_elsewhere, why_no_block
from rover.files.person import PersonFile
from rover.files.problems import FileProblems, meant, nearest
from rover.files.ranges import RangesFile
from rover.files.robot import Robot
from rover.files.types import UNKNOWN, KeyMistakeError, Model, NameMistakeError, ValueMistakeError, keys_of
from rover.files.yaml_source import KeyPath, Source

KINDS: dict[str, type[Model]] = {
    "robot": Robot,
    "errand": Errand,
    "behaviour": Behaviour,
    "bench": BenchFile,
    "keys": DriverKeysFile,
    "ranges": RangesFile,
    "hard_seeds": HardSeedsFile,
    "person": PersonFile,
}

FileModel = TypeVar("FileModel", bound=Model)


@dataclass(frozen=True)
class Loaded(typing.Generic[FileModel]):
    """A file that has been read: its model, and its source for the places of later findings."""

    model: FileModel
    source: Source


def project_root(path: Path) -> Path:
    """Return the folder that a file's paths must stay under: the nearest one upwards that marks a project.

    A ``pyproject.toml``, ``.git`` or ``config`` with ``behaviours`` beside it marks one; else it is the file's folder.
    """
    folder = path.resolve().parent
    for candidate in (folder, *folder.parents):
        marks = (candidate / "pyproject.toml").exists() or (candidate / ".git").exists()
        if marks or ((candidate / "config").is_dir() and (candidate / "behaviours").is_dir()):
            return candidate
    return folder


def show(path: Path) -> str:
    """Return how messages call a file: relative to the working folder where it is below it."""
    try:
        return str(path.resolve().relative_to(Path.cwd()))
    except (OSError, RuntimeError, ValueError):  # elsewhere, or no path at all
        return str(path)


def named_in(source: Source, where: KeyPath, kind: str, text: str) -> Path | None:
    """Return the file of a kind that another one names, or None (and a noted problem) if it is not to be had.

    Paths are relative to the file that names them and stay under the project's root, symlinks resolved. A behaviour
    that comes with the package is named by its name alone. A file that is kept names those that are kept with it.
    """
    if source.kept is not None:
        if (name := source.kept.name_of(source.name, text)) is None:
            source.report(where, f"'{text}' was not kept with this file")
        return None if name is None else Path(name)
    if kind == "behaviour" and shipped.is_name(text):
        found = shipped.shipped().get(text)
        if found is None:
            source.report(where, shipped.why_unknown(text, source.path.resolve().parent))
        return found and found.resolve()
    root = project_root(source.path)
    try:
        if is_loop(source.path.resolve().parent / text):
            source.report(where, f"this {A_LOOP}, none of them a file")
            return None
        resolved = (source.path.resolve().parent / text).resolve()
        resolved.exists()
    except (OSError, RuntimeError, ValueError):  # too long; a ring of symlinks; a NUL character
        source.report(where, "this cannot be the path of a file")
        return None
    if not resolved.is_relative_to(root):
        marks = "the folder that has pyproject.toml, .git or config"
        source.report(where, f"this path leads out of the project {root.name}/ ({marks}); copy the file into it")
        return None
    if resolved.is_dir():
        source.report(where, f"{show(resolved)} is a folder; name a YAML file in it")
        return None
    if not resolved.is_file():
        source.report(where, f"there is no file {show(resolved)}{yaml_source.beside(resolved)}")
        return None
    return resolved


def kind_of(source: Source) -> str:
    """Return which kind of file this is, as its first key says.

    Raises:
        FileProblems: the first key is none of these.
    """
    values = source.values
    known = ", ".join(f"'{kind}:'" for kind in KINDS)
    if not isinstance(values, dict) or not values:
        source.report((), f"a file is a block of 'key: value' lines, and the first key says what it is: one of {known}")
        raise FileProblems(source.problems)
    first = str(next(iter(values)))
    if first in KINDS:
        return first
    present = next((kind for kind in KINDS if kind in values), None)
    near = meant(first, KINDS)
    hint = f"; put '{present}:' first" if present else f"; did you mean '{near}:'?" if near else ""
    source.report((first,), f"the first key must say what the file is: one of {known}{hint}", of_key=True)
    raise FileProblems(source.problems)


def follow(source: Source, where: KeyPath, kind: str, text: str, given: Given = NOTHING) -> Loaded[Any] | None:
    """Return the file of a kind that a place in another file names, or None (and noted problems) if it is not there.

    What is ``given`` for it stands in its place.

    Raises:
        FileProblems: every mistake in the file that is named.
    """
    path = named_in(source, where, kind, text)
    if path is None:
        return None
    named = yaml_source.read(path, show(path)) if source.kept is None else source.kept.read(str(path))
    source.named[text] = named.name
    found = kind_of(named)
    if found != kind:
        source.report(where, f"this is {_a(found)} file, but {_a(kind)} file is due here")
        return None
    given.put_into(named, kind)
    return Loaded(build(KINDS[kind], named), named)


def _a(kind: str) -> str:
    return f"an {kind}" if kind.startswith("e") else f"a {kind}"


def load(path: Path, kind: str, given: Given = NOTHING) -> Loaded[Any]:
    """Return a file of the kind that is due, with what is given for it.

    Raises:
        FileProblems: every mistake in it, or it is of another kind.
    """
    return loaded(yaml_source.read(path, show(path)), kind, given)


def loaded(source: Source, kind: str, given: Given = NOTHING) -> Loaded[Any]:
    """As `load`, for a file that has been read."""
    found = kind_of(source)
    if found != kind:
        cure = "; name the errand file that has it under 'files:'" if kind == "errand" else ""
        source.report((found,), f"this is {_a(found)} file, but {_a(kind)} file is due here{cure}", of_key=True)
        raise FileProblems(source.problems)
    given.put_into(source, kind)
    return Loaded(build(KINDS[kind], source), source)


class OwnDrivers:
    """The keys that drivers of a person's own declare in files beside them, read when a file names such a driver.

    Args:
        source: the file that names them; mistakes in what they declare are noted there too.
    """

    def __init__(self, source: Source) -> None:
        self._source, self._kept = source, source.kept
        self._files: dict[Path, DriverKeysFile | None] = {}

    @property
    def folder(self) -> Path:
        """The folder of the file."""
        return self._source.path.resolve().parent

    def declared_by(self, driver: str) -> Mapping[str, tuple[Any, Any]] | None:
        """Return type and default of each key of a driver ``package.module:Class``; None where nothing declares them.

        Raises:
            ValueMistakeError: there is a file for its module, but the class is not in it.
        """
        path = file_of(driver) if self._kept is None else kept_file_of(driver, self._kept.texts)
        if path is None or (file := self._read(path)) is None:
            return None
        name = driver.partition(":")[2]
        if name not in file.keys:
            why = f"{show(path)} has the keys of this module's drivers, and '{name}' is not in it"
            raise ValueMistakeError(("driver",), why + nearest(name, file.keys))
        return {key: own.definition for key, own in file.keys[name].items()}

    def _read(self, path: Path) -> DriverKeysFile | None:
        if path not in self._files:
            self._files[path] = None
            try:
                source = yaml_source.read(path, show(path)) if self._kept is None else self._kept.read(str(path))
                self._source.beside.append(source)
                self._files[path] = loaded(source, "keys").model
            except FileProblems as error:
                self._source.problems += error.problems
        return self._files[path]


def build(model: type[FileModel], source: Source) -> FileModel:
    """Return the model of a source; raises as `follow` does."""
    source.is_secret = model.HAS_SECRETS
    bare = set(bare_keys(source.values))
    for where in bare:
        source.report(where, why_bare(str(where[-1])), of_key=True)
    own = OwnDrivers(source)
    built: FileModel | None = None
    try:
        built = model.model_validate(source.values, context=own)
    except ValidationError as error:
        for detail in error.errors(include_url=False):
            if in_file(detail["loc"]) not in bare:
                _note(detail, partial(model_at, model, values=source.values, context=own), source)
    note_what_cannot_be(source)
    if built is None or source.problems:
        raise FileProblems(source.problems)
    return built


def _note(detail: Any, model_of: ModelAt, source: Source) -> None:
    where = in_file(detail["loc"])
    of_key = detail["loc"][-1:] == ("[key]",) or detail["type"] == "extra_forbidden"
    error = detail.get("ctx", {}).get("error")
    if isinstance(error, NameMistakeError):
        source.report(where, f"{error}{nearest(str(where[-1]), error.known)}", of_key=True)
        return
    if isinstance(error, ValueMistakeError):
        where, of_key = (*where, *error.path), isinstance(error, KeyMistakeError)
    if detail["type"] == "missing":
        misspelt = _misspelt(detail, model_of)
        where, of_key = (*where[:-1], *misspelt), True
        if misspelt:
            detail = {"type": "extra_forbidden", "loc": where}
    source.report(where, _reason(detail, model_of, source.values), of_key=of_key)


def in_file(where: KeyPath) -> KeyPath:
    """Return a place as it stands in the file: "[key]" tells only that a key is meant and not what stands behind it."""
    return tuple(part for part in where if part != "[key]")


def _misspelt(detail: Any, model_of: ModelAt) -> tuple[str, ...]:
    """Return the unknown key of a block that is probably the one said to be missing: one mistake, one message."""
    block = model_of(detail["loc"][:-1])
    known = [] if block is None else keys_of(block)
    unknown = [key for key in detail["input"] if key not in known] if isinstance(detail["input"], dict) else []
    return tuple(key for key in unknown if meant(key, known) == detail["loc"][-1])[:1]


_DUE = {
    "literal_error": "must be one of: {expected}",
    "too_short": "too few here: {actual_length}, and at least {min_length} due",
    "too_long": "too many here: {actual_length}, and at most {max_length} due",
    "greater_than": "must be more than {gt}",
    "greater_than_equal": "must be {ge} or more",
    "less_than_equal": "must be {le} or less",
    "bool_type": "true or false is due here",
    "dict_type": BLOCK_DUE,
    **dict.fromkeys(("list_type", "tuple_type"), "a list is due here: [a, b]"),
    **dict.fromkeys(("int_type", "int_from_float", "int_parsing"), "a whole number is due here"),
}


def _reason(detail: Any, model_of: ModelAt, values: Any) -> str:
    kind, where = detail["type"], detail["loc"]
    if kind == "extra_forbidden":
        why = (model_of(where[:-1]) or Model).why_unknown(where[-1])
        elsewhere = goes_elsewhere(in_file(where), values, model_of) if why.startswith(UNKNOWN) else ""
        return f"{UNKNOWN} here; {elsewhere}" if elsewhere else why
    if kind == "missing":
        short = isinstance(where[-1], int)
        return "one value more is due in this list" if short else (model_of(where[:-1]) or Model).why_missing(where[-1])
    if kind == "value_error":
        return str(detail["ctx"]["error"])
    if kind == "model_type":
        return why_no_block(in_file(where), model_of)
    if kind in _DUE:
        return _DUE[kind].format(**detail.get("ctx", {}))
    return str(detail["msg"]).replace("Input should", "must")


def model_at(
    model: type[Model], where: KeyPath, values: Any = None, context: OwnDrivers | None = None
) -> type[Model] | None:
    """Return the model that describes the block at a place, None if there is none.

    Args:
        model: of the whole file.
        where: the place.
        values: of the whole file; those of the blocks on the way tell which variety they are of.
        context: what drivers of a person's own declare.
    """
    current: Any = model
    for part in where:
        values = _inside(values, part)
        if _is_model(current):
            fields = {field.alias or name: field.annotation for name, field in current.model_fields.items()}
            further = typing.get_args(current.__annotations__.get("__pydantic_extra__"))
            current = _strip(fields.get(str(part), further[-1] if further else None))
        else:
            current = _strip((typing.get_args(current) or (None,))[-1])
        if _is_model(current):
            current = current.for_values(values, context)
    return current if _is_model(current) else None


def _is_model(annotation: Any) -> bool:
    return isinstance(annotation, type) and issubclass(annotation, Model)


def _inside(values: Any, part: str | int) -> Any:
    try:
        return values[part]
    except (LookupError, TypeError):
        return None


def _strip(annotation: Any) -> Any:
    """Return an annotation without Annotated and without '| None'."""
    if typing.get_origin(annotation) is typing.Annotated:
        return _strip(typing.get_args(annotation)[0])
    choices = [choice for choice in typing.get_args(annotation) if choice is not type(None)]
    if type(None) in typing.get_args(annotation) and len(choices) == 1:
        return _strip(choices[0])
    return annotation
