"""The folder in which records gather: what a run left unfinished is finished there, and the oldest make room."""

import contextlib
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

from rover.record.frames import folder_of
from rover.record.run import CUT_OFF, RunEnd
from rover.record.schema import ENTRY_TABLES, entry_row
from rover.record.unfinished import JOURNAL, LOG, is_unfinished, roll_back

WHY_CUT_OFF = "the record ends before the run did: the program was killed, or the power went"
BESIDE = (LOG, JOURNAL, "-shm")
"""Ends of the names of files that the database keeps beside its own while it is written."""


def tidy(folder: Path, keep: float) -> Iterator[str]:
    """Finish records in a folder that were cut off, then delete some until the rest take ``keep`` bytes at most.

    The oldest go first, those of rehearsals before those of the robot. The newest stays in any case, and so do records
    that are being written, and files that are no records. Yields a sentence on each thing done; what cannot be done is
    left as it is.
    """
    hosts = {path: host for path in folder.glob("*.sqlite") if (host := host_of(path))}
    by_age = sorted(hosts, key=_changed_at)
    for path in by_age:
        if is_unfinished(path) and (said := finish(path)):
            yield said
    sizes = {path: _size(path) for path in by_age}
    excess = sum(sizes.values()) - keep
    for path in sorted(by_age[:-1], key=lambda path: hosts[path].startswith("robot")):
        if excess > 0 and not is_unfinished(path) and _delete(path):
            excess -= sizes[path]
            yield f"{path.name} was deleted, {sizes[path] / 1e6:.1f} MB: records here take {keep / 1e6:.0f} MB at most"


def host_of(path: Path) -> str:
    """Return where a record was made, ``robot`` or a bench; '' of a file that is no run record."""
    roll_back(path)
    try:
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True, timeout=0.0)) as connection:
            found = dict(connection.execute("SELECT key, value FROM header WHERE key IN ('schema', 'host')"))
    except sqlite3.Error:
        return ""
    return str(found.get("host", "unknown")) if "schema" in found else ""


def finish(path: Path) -> str:
    """Bring a record that was cut off into one plain file again, and mark it as cut off.

    Returns a sentence on it; '' where it is being written, or cannot be finished.
    """
    try:
        with closing(sqlite3.connect(path, timeout=0.0, isolation_level=None)) as connection:
            # Refused while anybody else has it open: whoever writes it is at work.
            if connection.execute("PRAGMA journal_mode=DELETE").fetchone() != ("delete",):
                return ""
            if connection.execute("PRAGMA quick_check(1)").fetchone() != ("ok",):
                return f"{path.name} was cut off, and is damaged"
            if connection.execute("SELECT 1 FROM outcome").fetchone() is None:
                _mark(connection)
            return f"{path.name} was cut off: all that was committed to it is there"
    except sqlite3.Error:
        return ""


def _mark(connection: sqlite3.Connection) -> None:
    tables = [name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
    kept = [name for name in ENTRY_TABLES.values() if name in tables]
    latest = [connection.execute(f"SELECT max(entry), max(at_ns) FROM {name}").fetchone() for name in kept]
    latest += [(None, *connection.execute("SELECT max(at_ns) FROM track").fetchone())]
    entry, at_ns = (max((row[at] or 0 for row in latest), default=0) for at in (0, 1))
    connection.execute(
        "INSERT INTO outcome VALUES (?, ?, ?, ?, ?)", (entry + 1, at_ns, *entry_row(RunEnd(CUT_OFF, WHY_CUT_OFF)))
    )


def _size(path: Path) -> int:
    files = [path, *(Path(f"{path}{end}") for end in BESIDE), *folder_of(path).glob("*")]
    total = 0
    for file in files:
        with contextlib.suppress(OSError):
            total += file.stat().st_size
    return total


def _changed_at(path: Path) -> float:
    with contextlib.suppress(OSError):
        return path.stat().st_mtime
    return 0.0


def _delete(path: Path) -> bool:
    try:
        path.unlink()
    except OSError:
        return False
    shutil.rmtree(folder_of(path), ignore_errors=True)
    return True
