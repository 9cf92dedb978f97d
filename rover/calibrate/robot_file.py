"""Puts new values into a robot file: only the characters of these values change, comments and order stay.

Edited as text at the places the YAML parser gives. A round trip through a comment-keeping YAML library would set
brackets, indents and blanks anew in lines that nobody meant to change.
"""

import os
import re
import tempfile
from collections.abc import Sequence
from pathlib import Path

import yaml

from rover.calibrate.findings import CalibrationError, ValueChange
from rover.files import load
from rover.files.yaml_source import read_text


def changed_text(text: str, changes: Sequence[ValueChange]) -> str:
    """Return a robot file's text with new values; a key that is not there yet comes last in its block.

    Raises:
        CalibrationError: a block is not there, or the file is written so oddly that a change would hit something else.
    """
    for change in changes:
        due = _with(read_text(text, Path(), "robot file").values, change)
        begins, ends, new = _edit(text, change)
        text = text[:begins] + new + text[ends:]
        if read_text(text, Path(), "robot file").values != due:
            raise CalibrationError(
                f"cannot put '{'.'.join(change.key)}: {change.after}' in safely; write it there by hand"
            )
    return text


def _with(values: object, change: ValueChange) -> object:
    """Return the values that a file has after a change."""
    if not change.key:
        return read_text(f"value: {change.after}", Path(), "value").values["value"]
    if not isinstance(values, dict):
        raise CalibrationError(
            f"there is no block for '{change.key[0]}' in this file; write '{change.after}' there by hand"
        )
    key, *below = change.key
    return values | {key: _with(values.get(key), change._replace(key=tuple(below)))}


def _edit(text: str, change: ValueChange) -> tuple[int, int, str]:
    """Return where the characters begin and end that a change replaces, and the new ones."""
    node = yaml.compose(text, Loader=yaml.SafeLoader)
    *blocks, last = change.key
    for key in blocks:
        node = _value(node, key)
    if not isinstance(node, yaml.MappingNode) or not node.value:
        raise CalibrationError(
            f"there is no block '{'.'.join(blocks)}:' in this file; write {last}: {change.after} by hand"
        )
    present = _value(node, last)
    if present is not None:
        return present.start_mark.index, present.end_mark.index, change.after
    end = _end(node.value[-1][1])
    if node.flow_style:
        return end, end, f", {last}: {change.after}"
    indent = " " * node.value[0][0].start_mark.column
    newline = "\r\n" if "\r\n" in text else "\n"
    rest = re.compile(r"[^\r\n]*").match(text, end)
    at = end if rest is None else rest.end()
    return at, at, f"{newline}{indent}{last}: {change.after}"


def _value(node: yaml.Node | None, key: str) -> yaml.Node | None:
    pairs = node.value if isinstance(node, yaml.MappingNode) else ()
    return next((value for name, value in pairs if name.value == key), None)


def _end(node: yaml.Node) -> int:
    """Return where a value's last character stands; a block's own end mark is past the comments that follow it."""
    if isinstance(node, yaml.CollectionNode) and not node.flow_style and node.value:
        last = node.value[-1]
        return _end(last[1] if isinstance(last, tuple) else last)
    return int(node.end_mark.index)


def write(path: Path, changes: Sequence[ValueChange]) -> Path:
    """Put changes into a robot file at once, keep the file as it was beside it, and return the latter's path.

    Raises:
        FileProblems: the file would not be sound afterwards; nothing is written.
        CalibrationError: see `changed_text`; nothing is written.
        OSError: the folder cannot be written.
    """
    path = path.resolve()
    before = path.read_bytes()
    after = changed_text(before.decode("utf-8"), changes).encode("utf-8")
    mode = path.stat().st_mode
    backup = path.with_name(f"{path.name}.bak")
    written = _beside(path, after, mode)
    try:
        load.load(written, "robot")
        os.replace(_beside(path, before, mode), backup)
        os.replace(written, path)
    except BaseException:
        written.unlink(missing_ok=True)
        raise
    return backup


def _beside(path: Path, content: bytes, mode: int) -> Path:
    """Write a new file in a path's folder, down to the disk, and return it."""
    descriptor, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    with os.fdopen(descriptor, "wb") as file:
        file.write(content)
        os.fchmod(descriptor, mode & 0o777)
        file.flush()
        os.fsync(descriptor)
    return Path(name)
