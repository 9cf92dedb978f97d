"""YAML text -> plain values, each with its line and column.

Scalars follow the core schema of YAML 1.2 (section 10.3.2 of the specification), so that ``on``, ``no``,
``010`` and ``1:30`` mean what they look like: two words, ten, and a word. Tags, anchors, aliases, merge keys
and several documents are refused: these files need none, and an alias can make a small file enormous.
"""

import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import yaml

from rover.files.problems import FileProblems, Problem

LARGEST_FILE = 1_000_000
DEEPEST = 40

_INTEGER = re.compile(r"[-+]?[0-9]+")
_HEXADECIMAL = re.compile(r"0o[0-7]+|0x[0-9a-fA-F]+")
_FLOAT = re.compile(r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?")
_WORDS = {"": None, "~": None} | {
    spelling: value
    for word, value in (("null", None), ("true", True), ("false", False))
    for spelling in (word, word.capitalize(), word.upper())
}

_Loader = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
Path_ = tuple[str | int, ...]


@dataclass(frozen=True)
class Spot:
    """A place in a file: line and column from 1, and the text that stands there (empty for a mapping or list)."""

    line: int
    column: int
    text: str


@dataclass
class Source:
    """One YAML file, read: its values, and where each of them and each key stands."""

    path: Path
    name: str
    values: Any
    value_spots: dict[Path_, Spot] = field(default_factory=dict)
    key_spots: dict[Path_, Spot] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)

    def spot(self, where: Path_, of_key: bool = False) -> Spot:
        """Return the place of a value (or of its key), or of the nearest enclosing one that the file has."""
        spots = self.key_spots if of_key else self.value_spots
        for length in range(len(where), -1, -1):
            found = spots.get(where[:length]) or self.key_spots.get(where[:length])
            if found is not None:
                return found
            spots = self.value_spots
        return Spot(1, 1, "")

    def report(self, where: Path_, why: str, *, of_key: bool = False, warning: bool = False) -> None:
        """Note a mistake at a place."""
        spot = self.spot(where, of_key)
        self.problems.append(Problem(self.name, spot.line, spot.column, spot.text, why, warning))


def read(path: Path, name: str) -> Source:
    """Return the file's values with their places.

    Args:
        path: the file.
        name: how messages call it.

    Raises:
        FileProblems: it cannot be read, is no text, is too large, is not YAML, or uses what is refused here.
    """
    try:
        if path.is_dir():
            raise _refusal(name, "this is a folder; name a YAML file")
        if not path.is_file():
            raise _refusal(name, "there is no such file" if not path.exists() else "this is not a regular file")
        if path.stat().st_size > LARGEST_FILE:
            raise _refusal(name, f"larger than {LARGEST_FILE // 1000} kB; a file of this kind is a few pages")
        raw = path.read_bytes()
    except OSError as error:
        raise _refusal(name, f"cannot be read: {error.strerror}") from None
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise _refusal(name, "not UTF-8 text; is it a binary file?", line) from None
    return read_text(text, path, name)


def read_text(text: str, path: Path, name: str) -> Source:
    """As `read`, for text already in memory."""
    if not text.strip():
        raise _refusal(name, "the file is empty")
    try:
        root = _compose(text, name)
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        line, column = (mark.line + 1, mark.column + 1) if mark else (1, 1)
        raise FileProblems([Problem(name, line, column, "", _yaml_reason(error, text, line))]) from None
    except yaml.reader.ReaderError as error:
        position = error.position if isinstance(error.position, int) else 0
        line = text.count("\n", 0, position) + 1
        raise _refusal(name, "holds a character that no text file has; is it a binary file?", line) from None
    if root is None:
        raise _refusal(name, "the file holds nothing but comments")
    source = Source(path, name, None)
    source.values = _convert(root, (), source)
    return source


def _refusal(name: str, why: str, line: int = 1) -> FileProblems:
    return FileProblems([Problem(name, line, 1, "", why)])


def _yaml_reason(error: yaml.MarkedYAMLError, text: str, line: int) -> str:
    lines = text.splitlines()
    here = lines[line - 1] if line <= len(lines) else ""
    if "\t" in here[: len(here) - len(here.lstrip())] or "'\\t'" in str(error.problem):
        return "a tab; indent with spaces, YAML allows no tab there"
    reason = " ".join(part for part in (error.context, error.problem) if part)
    return f"not valid YAML: {reason}" + ("; quote the text if it has a colon or a comma" if ":" in here else "")


def _compose(text: str, name: str) -> yaml.Node | None:
    """Return the node tree, having looked at the events first: an alias or a deep nest never gets built."""
    depth = 0
    for event in yaml.parse(text, Loader=_Loader):
        line, column = event.start_mark.line + 1, event.start_mark.column + 1
        refused = None
        if isinstance(event, yaml.AliasEvent) or getattr(event, "anchor", None):
            refused = "anchors and aliases (& and *) are not used in these files; write the value out"
        elif getattr(event, "tag", None) not in (None, "!"):
            refused = "tags (!) are not used in these files"
        elif isinstance(event, yaml.CollectionStartEvent):
            depth += 1
            refused = f"nested deeper than {DEEPEST} levels" if depth > DEEPEST else None
        elif isinstance(event, yaml.CollectionEndEvent):
            depth -= 1
        elif isinstance(event, yaml.DocumentStartEvent) and event.explicit and line > 1 and _follows_document(text, line):
            refused = "a second document (---); one file holds one"
        if refused:
            raise FileProblems([Problem(name, line, column, "", refused)])
    return yaml.compose(text, Loader=_Loader)  # type: ignore[no-any-return, no-untyped-call]


def _follows_document(text: str, line: int) -> bool:
    before = text.splitlines()[: line - 1]
    return any(row.strip() and not row.lstrip().startswith(("#", "%")) for row in before)


def _convert(node: yaml.Node, where: Path_, source: Source) -> Any:
    line, column = node.start_mark.line + 1, node.start_mark.column + 1
    source.value_spots[where] = Spot(line, column, node.value if isinstance(node, yaml.ScalarNode) else "")
    if isinstance(node, yaml.ScalarNode):
        return _scalar(node)
    if isinstance(node, yaml.SequenceNode):
        return [_convert(item, (*where, index), source) for index, item in enumerate(node.value)]
    values: dict[str, Any] = {}
    for key_node, value_node in node.value:
        key_line, key_column = key_node.start_mark.line + 1, key_node.start_mark.column + 1
        if not isinstance(key_node, yaml.ScalarNode):
            source.problems.append(Problem(source.name, key_line, key_column, "", "a key must be a plain word"))
            continue
        key = str(key_node.value)
        if key in values:
            first = source.key_spots[(*where, key)].line
            why = f"this key stands here twice (first on line {first}); remove one"
            source.problems.append(Problem(source.name, key_line, key_column, key, why))
            continue
        source.key_spots[(*where, key)] = Spot(key_line, key_column, key)
        values[key] = _convert(value_node, (*where, key), source)
    return values


def _scalar(node: yaml.ScalarNode) -> Any:
    text: str = node.value
    if node.style not in (None, ""):  # quoted, literal or folded: a text whatever it looks like
        return text
    if text in _WORDS:
        return _WORDS[text]
    if len(text) <= 40:
        if _INTEGER.fullmatch(text):
            return int(text)
        if _HEXADECIMAL.fullmatch(text):
            return int(text, 0)
        if _FLOAT.fullmatch(text):
            return float(text)
    return text
