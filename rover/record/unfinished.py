"""What a writer that was cut off leaves beside a record, and how a file that was just being finished is read again."""

import sqlite3
from contextlib import closing, suppress
from pathlib import Path

LOG, JOURNAL = "-wal", "-journal"
"""Ends of the names of files beside a record: while it is written, and while it is made one plain file at the end."""


def is_unfinished(path: Path) -> bool:
    """Tell whether something lies beside a record that belongs into it, or that it has to be rolled back by."""
    return any(Path(f"{path}{end}").exists() for end in (LOG, JOURNAL))


def roll_back(path: Path) -> None:
    """Take back what was only half done as the file was made a plain one: who may only read it cannot.

    Nothing is done where nothing is to be taken back, where the writer is still at it, or may not be written.
    """
    if Path(f"{path}{JOURNAL}").exists():
        with suppress(sqlite3.Error), closing(sqlite3.connect(path, timeout=0.0)) as connection:
            connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
