"""The outbox of an errand: a SQLite file with every notice, those that wait and those that were sent.

A notice is in it before anybody tries to send it, with the Message-ID that it has in every try; it counts as sent once
the server, or the program, has said so. Where that word is lost on the way it is sent again, under the same
Message-ID (RFC 1047 has why that cannot be helped).
"""

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

from rover.errors import UserError

ENDING = ".notices.sqlite"
KEPT = 1000
"""So many notices that were sent stay in the outbox, the newest."""
BUSY_S = 10.0

VERSION = 1
_TABLES = f"""
BEGIN IMMEDIATE;
CREATE TABLE IF NOT EXISTS notices (
  number INTEGER PRIMARY KEY, message_id TEXT UNIQUE NOT NULL, made TEXT NOT NULL, occasion TEXT NOT NULL,
  way TEXT NOT NULL, recipient TEXT NOT NULL, subject TEXT NOT NULL, text TEXT NOT NULL,
  record TEXT NOT NULL, run TEXT NOT NULL, tries INTEGER NOT NULL DEFAULT 0, last TEXT NOT NULL DEFAULT '',
  sent TEXT);
CREATE INDEX IF NOT EXISTS waiting ON notices (tries, number) WHERE sent IS NULL;
PRAGMA user_version = {VERSION};
COMMIT;
"""


class OutboxError(UserError):
    """An outbox that cannot be used; the message says which file, why, and what to do."""


class Notice(NamedTuple):
    """One notice to one recipient.

    Attributes:
        message_id: the same in every try, and no other notice's.
        made: date and time (ISO 8601, with its offset) of what it tells.
        occasion: one of `rover.files.notices.OCCASIONS`.
        way: `mail` or `command`.
        recipient: mail address, or name of the command.
        subject, text: as filled in. A run's end has neither until it has come.
        record: of the run.
        run: the process whose run has not ended yet, for the notice of its end; else empty.
    """

    message_id: str
    made: str
    occasion: str
    way: str
    recipient: str
    subject: str
    text: str
    record: str
    run: str = ""


class Waiting(NamedTuple):
    """A notice that waits: its number, how often it was tried, what was said the last time."""

    number: int
    notice: Notice
    tries: int
    last: str


def path_beside(record: Path, errand: Path) -> Path:
    """Return where the outbox of an errand file is, given the record of a run: all runs of it share one."""
    return record.parent / f"{errand.stem}{ENDING}"


class Outbox:
    """An outbox; several processes may have it open.

    Raises:
        OutboxError: it cannot be made or opened, or is no outbox.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        with self._said():
            self._connection = sqlite3.connect(path, timeout=BUSY_S, isolation_level=None, check_same_thread=False)
            self._connection.execute("PRAGMA journal_mode=WAL")
            self._connection.execute("PRAGMA synchronous=FULL")
            (version,) = self._connection.execute("PRAGMA user_version").fetchone()
            if version == 0:
                self._connection.executescript(_TABLES)
        if version not in (0, VERSION):
            self._connection.close()
            raise OutboxError(f"{path}: an outbox of notices of another release (layout {version}); move it away")

    @contextmanager
    def _said(self) -> Iterator[None]:
        try:
            yield
        except sqlite3.OperationalError as error:
            raise OutboxError(
                f"{self.path}: the outbox of notices cannot be written: {error}; make room on its disk"
            ) from None
        except sqlite3.DatabaseError as error:
            raise OutboxError(f"{self.path}: no outbox of notices, or a damaged one: {error}; move it away") from None

    def put(self, notices: Sequence[Notice]) -> None:
        """Take notices in, all or none; one whose Message-ID is there already is left out.

        Raises:
            OutboxError: they could not be written.
        """
        columns = f"({', '.join(Notice._fields)}) VALUES ({', '.join('?' * len(Notice._fields))})"
        with self._said():
            self._connection.execute("BEGIN IMMEDIATE")
            try:
                self._connection.executemany(f"INSERT OR IGNORE INTO notices {columns}", notices)
                self._connection.execute(
                    "DELETE FROM notices WHERE sent IS NOT NULL AND number <= "
                    f"(SELECT max(number) FROM notices) - {KEPT}"
                )
                self._connection.execute("COMMIT")
            except BaseException:
                self._connection.rollback()
                raise

    def waiting(self) -> list[Waiting]:
        """Return all that has not been sent, least often tried first: one that is always refused stops no other."""
        names = ", ".join(["number", *Notice._fields, "tries", "last"])
        with self._said():
            rows = self._connection.execute(
                f"SELECT {names} FROM notices WHERE sent IS NULL ORDER BY tries, number"
            ).fetchall()
        return [Waiting(number, Notice(*columns), tries, last) for number, *columns, tries, last in rows]

    def note_end_of(self, run: str) -> None:
        """Note that a run has ended: the notice of its end is due."""
        self._do("UPDATE notices SET run = '' WHERE run = ?", run)

    def fill_in(self, number: int, notice: Notice) -> None:
        """Give the notice of a run's end its date and its words; it is due now."""
        self._do(
            "UPDATE notices SET made = ?, subject = ?, text = ?, run = '' WHERE number = ?",
            *(notice.made, notice.subject, notice.text, number),
        )

    def note_sent(self, number: int, sent: str, said: str) -> None:
        """Note that a notice was taken, when (ISO 8601) and with which words."""
        self._do("UPDATE notices SET tries = tries + 1, sent = ?, last = ? WHERE number = ?", sent, said, number)

    def note_failed(self, number: int, why: str) -> None:
        """Note why a try came to nothing."""
        self._do("UPDATE notices SET tries = tries + 1, last = ? WHERE number = ?", why, number)

    def _do(self, statement: str, *values: object) -> None:
        with self._said():
            self._connection.execute(statement, values)

    def close(self) -> None:
        """Close the file."""
        self._connection.close()
