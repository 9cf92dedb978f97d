"""YAML text -> plain values, each with its line and column.

Scalars follow the core schema of YAML 1.2 (section 10.3.2 of the specification), so that ``on``, ``no``,
``010`` and ``1:30`` mean what they look like: two words, ten, and a word. Tags, anchors, aliases, merge keys
and several documents are refused: these files need none, and an alias can make a small file enormous.
"""

import re
from collections.abc import Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import yaml

from rover.errors import A_LOOP, is_loop
from rover.files.problems import FileProblems, Problem, nearest

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

_NOT_TEXT = re.compile("[^\t\n\r\x20-\x7e\x85\xa0-\ud7ff\ue000-\ufefe\uff00-\ufffd\U00010000-\U0010ffff]")
_BEGINS_QUOTE = re.compile(r"""(?:^|[:,\[{-])\s*(['"])""")
_NO_ALIASES = "anchors and aliases (& and *) are not used in these files; write the value out, or quote the text"
_NO_TAGS = "tags (!) are not used in these files; remove it, or quote a text that begins with '!'"
_MISALIGNED = "this line is not aligned with those above it"
_TOO_DEEP = f"nested deeper than {DEEPEST} levels"
# a sign in the parser's message -> what to say, and whether it began where the parser's context began
_YAML_MISTAKES = (
    (
        "mapping values are not allowed",
        "a ': ' where none may stand; align the line with those above, give the one above its ': ', or quote the text",
        False,
    ),
    ("quoted scalar", "a quoted text that is not closed or holds a \\ that means nothing; it begins here", True),
    ("expected ','", "a bracket that is not closed, or a comma that is missing; the bracket is opened here", True),
    ("node content", "a value is missing before this bracket or comma", False),
    ("start any token", "no value begins with this character; quote the text", False),
    ("nesting depth", _TOO_DEEP, False),
    ("expected ':'", "a line without ': ' behind its key (a colon and a space)", True),
    ("expected <block end>", _MISALIGNED, False),
    ("expected key", _MISALIGNED, False),
    ("expected '-' indicator", _MISALIGNED, False),
    ("tag", _NO_TAGS, False),
)

_Loader = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
KeyPath = tuple[str | int, ...]


@dataclass(frozen=True)
class Spot:
    """A place in a file: line and column from 1, and the text that stands there (empty for a mapping or list)."""

    line: int
    column: int
    text: str


@dataclass(frozen=True)
class KeptFiles:
    """Files as they were once used, instead of those on the disk.

    Attributes:
        texts: of each file, by its name.
        named: by file, what it names in its own words, and the name of that file.
    """

    texts: Mapping[str, str]
    named: Mapping[str, Mapping[str, str]]

    def read(self, name: str) -> "Source":
        """Return a file, as `read` does; those that it names are among these too."""
        source = read_text(self.texts[name], Path(name), name)
        source.kept = self
        return source

    def name_of(self, within: str, text: str) -> str | None:
        """Return the name of what a file names, None where that is not kept."""
        name = self.named.get(within, {}).get(text)
        return name if name in self.texts else None


@dataclass
class Source:
    """One YAML file, read: its values, where each of them and each key stands, and what was read beside it for them.

    Attributes:
        given: places where something else than the file says was put, with the option and the text that gave it.
        named: the files that it names, by what it says.
        kept: the files among which it is, where they are not on the disk.
        is_secret: messages must not repeat the values.
    """

    path: Path
    name: str
    values: Any
    value_spots: dict[KeyPath, Spot] = field(default_factory=dict)
    key_spots: dict[KeyPath, Spot] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    beside: list["Source"] = field(default_factory=list)
    given: dict[KeyPath, tuple[str, str]] = field(default_factory=dict)
    text: str = ""
    named: dict[str, str] = field(default_factory=dict)
    kept: KeptFiles | None = None
    is_secret: bool = False

    def spot(self, where: KeyPath, of_key: bool = False) -> Spot:
        """Return the place of a value (or of its key), or of the nearest enclosing one that the file has."""
        first, second = (self.key_spots, self.value_spots) if of_key else (self.value_spots, self.key_spots)
        for length in range(len(where), -1, -1):
            found = first.get(where[:length]) or second.get(where[:length])
            if found is not None:
                return found
        return Spot(1, 1, "")

    def report(self, where: KeyPath, why: str, *, of_key: bool = False, warning: bool = False) -> None:
        """Note a mistake at a place."""
        if option_and_text := self._given_at(where):
            option, text = option_and_text
            self.problems.append(Problem(option, 1, 1, text, why, warning))
            return
        spot = self.spot(where, of_key)
        text = "" if self.is_secret and not of_key else spot.text
        self.problems.append(Problem(self.name, spot.line, spot.column, text, why, warning))

    def put(self, where: KeyPath, value: Any, option: str, text: str) -> None:
        """Let a value stand at a place instead of what the file says; blocks and lists on the way are made.

        A place that cannot be is noted as a mistake. Mistakes in the value are told of ``text``, given by ``option``.
        """
        self.given[where] = (option, text)
        value, block = deepcopy(value), self.values
        for at, part in enumerate(where):
            is_last, following = at + 1 == len(where), where[at + 1 : at + 2]
            inner: Any = value if is_last else [] if isinstance(following[0], int) else {}
            if isinstance(block, list) and isinstance(part, int) and part <= len(block):
                block.append(inner) if part == len(block) else None
            elif isinstance(block, dict) and isinstance(part, str):
                block.setdefault(part, inner)
            else:
                self.report(where, f"there is nothing to be found at '{'.'.join(map(str, where[: at + 1]))}'")
                return
            if is_last:
                block[part] = value
            block = block[part]

    def _given_at(self, where: KeyPath) -> tuple[str, str] | None:
        """Return option and text of what was given at or below a place that the file itself does not have."""
        for place, option_and_text in self.given.items():
            is_above = place[: len(where)] == where and where not in self.key_spots and where not in self.value_spots
            if where[: len(place)] == place or (where and is_above):
                return option_and_text
        return None


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
        if is_loop(path):
            raise _refusal(name, f"{A_LOOP}, none of them a file")
        if not path.exists():
            raise _refusal(name, f"there is no such file{beside(path)}")
        if not path.is_file():
            raise _refusal(name, "this is not a regular file")
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
    if odd := _NOT_TEXT.search(text):
        line, column = text.count("\n", 0, odd.start()) + 1, odd.start() - text.rfind("\n", 0, odd.start())
        raise _refusal(
            name, f"holds the character {odd[0]!r}, which no text file has; is it a binary file?", line, column
        )
    try:
        root = _compose(text, name)
    except yaml.MarkedYAMLError as error:
        raise _refused_yaml(error, text, name) from None
    if root is None or (isinstance(root, yaml.ScalarNode) and root.value == "" and not root.style):
        raise _refusal(name, "the file holds nothing but comments")
    source = Source(path, name, None, text=text)
    source.values = _convert(root, (), source)
    return source


def _refusal(name: str, why: str, line: int = 1, column: int = 1) -> FileProblems:
    return FileProblems([Problem(name, line, column, "", why)])


def beside(path: Path) -> str:
    """Return the hint for a file that is not there: the nearest name in its folder."""
    if not path.parent.is_dir():
        folders = sorted(one.name for one in path.parent.parent.glob("*/"))
        return f"; there is no folder '{path.parent.name}' there{nearest(path.parent.name, folders)}"
    beside_it = sorted(path.parent.glob("*.yaml"))
    return nearest(path.name, [file.name for file in beside_it if file.is_file()])


def _refused_yaml(error: yaml.MarkedYAMLError, text: str, name: str) -> FileProblems:
    """Return what the parser found in words for a person, at the place where it began."""
    reason = " ".join(part for part in (error.context, error.problem) if part)
    why, at_start = next(
        ((why, at_start) for sign, why, at_start in _YAML_MISTAKES if sign in reason),
        (f"not valid YAML: {reason}", False),
    )
    marks = (error.context_mark, error.problem_mark) if at_start else (error.problem_mark, error.context_mark)
    line, column = next((_place(mark) for mark in marks if mark is not None), (1, 1))
    here = "".join(text.splitlines()[line - 1 : line])
    if why == _MISALIGNED:
        why += _how_to_align(here, next((row for row in reversed(text.splitlines()[: line - 1]) if row.strip()), ""))
    if open_quote := _open_quote(text.splitlines()[:line]):
        why += f"; or is it the quote in line {open_quote} that is not closed?"
    if "\t" in here[: len(here) - len(here.lstrip())] or "'\\t'" in reason:
        why = "a tab; indent with spaces, YAML allows no tab there"
    return _refusal(name, why, line, column)


def _open_quote(lines: Sequence[str]) -> int:
    """Return the number of the first line with a text in quotes that ends in none, 0 without one."""
    for number, line in enumerate(lines, 1):
        if begun := _BEGINS_QUOTE.search(line):
            rest = line[begun.end() :]
            if begun[1] not in rest:
                return number
    return 0


def _how_to_align(here: str, above: str) -> str:
    """Return what to do with a line that does not fit to the one above it."""
    begins, begins_above = (len(row) - len(row.lstrip()) + 1 for row in (here, above))
    if begins != begins_above:
        return (
            f": it begins in column {begins}, that above in column {begins_above}; align it with one that it goes with"
        )
    return ": begin it with '- ' as the other lines of its list, or indent it by two more"


def _place(mark: Any) -> tuple[int, int]:
    """Return line and column, from 1, of the parser's mark."""
    return mark.line + 1, mark.column + 1


def _compose(text: str, name: str) -> yaml.Node | None:
    """Return the node tree, having looked at the events first: an alias or a deep nest never gets built."""
    depth = 0
    for event in yaml.parse(text, Loader=_Loader):
        line, column = _place(event.start_mark)
        refused = None
        if isinstance(event, yaml.AliasEvent) or getattr(event, "anchor", None):
            refused = _NO_ALIASES
        elif getattr(event, "tag", None) not in (None, "!"):
            refused = _NO_TAGS
        elif isinstance(event, yaml.CollectionStartEvent):
            depth += 1
            refused = _TOO_DEEP if depth > DEEPEST else None
        elif isinstance(event, yaml.CollectionEndEvent):
            depth -= 1
        elif isinstance(event, yaml.DocumentStartEvent) and event.explicit and _follows_document(text, line):
            refused = "a second document (---); one file holds one"
        if refused:
            raise _refusal(name, refused, line, column)
    return yaml.compose(text, Loader=_Loader)


def _follows_document(text: str, line: int) -> bool:
    before = text.splitlines()[: line - 1]
    return any(row.strip() and not row.lstrip().startswith(("#", "%")) for row in before)


def _convert(node: yaml.Node, where: KeyPath, source: Source) -> Any:
    line, column = _place(node.start_mark)
    source.value_spots[where] = Spot(line, column, node.value if isinstance(node, yaml.ScalarNode) else "")
    if isinstance(node, yaml.ScalarNode):
        return _scalar(node)
    if isinstance(node, yaml.SequenceNode):
        return [_convert(item, (*where, index), source) for index, item in enumerate(node.value)]
    values: dict[str, Any] = {}
    for key_node, value_node in node.value:
        key_line, key_column = _place(key_node.start_mark)
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
