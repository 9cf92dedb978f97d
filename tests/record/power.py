"""A power cut: what a disk has of some files when it goes, out of a log of what was written and what was synced.

What was not yet synced may be there or not, in any order, each sector by itself. So may be a file that was made, or
deleted, since its folder was last synced. The log is that of `power_shim.c`.
"""

import struct
import subprocess
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from random import Random
from typing import NamedTuple

SHIM = Path(__file__).with_name("power_shim.c")
HEAD = struct.Struct("=IIQQ")
SECTOR = 512
MARKS = "marks"
"""A file in the folder: what is written to it is what the program knows at that time, and is on no disk."""


class Operation(NamedTuple):
    """One entry of the log."""

    kind: str
    name: str
    offset: int
    data: bytes


def build(folder: Path) -> Path:
    """Return the library to be preloaded."""
    library = folder / "power_shim.so"
    command = ["cc", "-shared", "-fPIC", "-O1", "-Wall", "-Wextra", "-o", str(library), str(SHIM), "-ldl", "-lpthread"]
    subprocess.run(command, check=True)
    return library


def operations(log: Path) -> list[Operation]:
    """Return what a log says, oldest first."""
    content, at, found = log.read_bytes(), 0, list[Operation]()
    while at < len(content):
        kind, name_length, offset, length = HEAD.unpack_from(content, at)
        at += HEAD.size
        name, at = content[at : at + name_length].decode(), at + name_length
        has_data = chr(kind) == "W"
        found.append(Operation(chr(kind), name, offset, content[at : at + length] if has_data else b""))
        at += length if has_data else 0
    return found


class _File:
    """A file: what of it is on the disk for sure, and what was done to it since."""

    def __init__(self) -> None:
        self.sure = bytearray()
        self.since: list[Operation] = []

    def sync(self) -> None:
        for one in self.since:
            _apply(self.sure, one, lambda: True)
        self.since.clear()

    def left(self, draw: Random) -> bytes:
        content = bytearray(self.sure)
        for one in self.since:
            _apply(content, one, lambda: draw.random() < 0.5)
        return bytes(content)


class Disk:
    """The disk under a program at work.

    Attributes:
        known: what the program wrote of what it knows, in its own words.
    """

    def __init__(self) -> None:
        self.known: list[str] = []
        self._files: dict[str, _File] = {}
        self._sure: set[str] = set()
        self._since: list[tuple[str, bool]] = []

    def do(self, one: Operation) -> None:
        """Take the next operation of the log in."""
        if one.name == MARKS:
            if one.kind == "W":
                self.known.append(one.data.decode())
        elif not one.name:
            self._sync_folder()
        elif one.kind in "OU":
            self._since.append((one.name, one.kind == "O"))
            if one.kind == "O":
                self._files[one.name] = _File()
        elif one.kind == "S":
            self._files[one.name].sync()
        else:
            self._files[one.name].since.append(one)

    def _sync_folder(self) -> None:
        for name, is_there in self._since:
            (self._sure.add if is_there else self._sure.discard)(name)
        self._since.clear()

    def left(self, draw: Random) -> Mapping[str, bytes]:
        """Return the files that are found if the power goes now."""
        there = set(self._sure)
        for name, is_there in self._since:
            if draw.random() < 0.5:
                (there.add if is_there else there.discard)(name)
        return {name: self._files[name].left(draw) for name in sorted(there)}


def _apply(content: bytearray, one: Operation, has_come: Callable[[], bool]) -> None:
    """Do what has come to the disk of an operation: a truncation or not, and each sector of what was written."""
    if one.kind == "T":
        if has_come():
            _resize(content, one.offset)
        return
    for offset, part in _sectors(one):
        if has_come():
            if len(content) < offset:
                _resize(content, offset)
            content[offset : offset + len(part)] = part


def _resize(content: bytearray, length: int) -> None:
    content[length:] = bytes(max(0, length - len(content)))


def _sectors(one: Operation) -> Iterator[tuple[int, bytes]]:
    at, end = one.offset, one.offset + len(one.data)
    while at < end:
        after = min(end, (at // SECTOR + 1) * SECTOR)
        yield at, one.data[at - one.offset : after - one.offset]
        at = after
