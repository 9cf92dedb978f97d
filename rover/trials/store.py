"""The file of a campaign: its plan, and a row for each trial that is over. Readable with any SQLite shell."""

import fcntl
import json
import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, closing
from dataclasses import asdict
from pathlib import Path
from typing import Any, Self

from rover.errors import UserError
from rover.record.run import TrueFigures
from rover.trials.trial import Ended, TrialRow, why_not

VERSION = 2
WAIT_S = 30.0
"""Whoever looks at the file from elsewhere may keep it so long."""
TABLES = """
CREATE TABLE campaign (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE trials (number INTEGER NOT NULL, variant TEXT NOT NULL, seed INTEGER NOT NULL, is_success INTEGER NOT NULL,
  why_not TEXT NOT NULL, state TEXT NOT NULL, exit TEXT NOT NULL, device TEXT NOT NULL, counted INTEGER NOT NULL,
  believed INTEGER NOT NULL, delivered INTEGER, robot_time_s REAL NOT NULL, command TEXT NOT NULL, row TEXT NOT NULL,
  PRIMARY KEY (number, variant)) WITHOUT ROWID;
"""


class CampaignFile:
    """The file of one campaign, kept by one process at a time.

    Raises:
        UserError: it cannot be made or read, another process is writing to it, or it belongs to another campaign.
    """

    def __init__(self, path: Path, plan: Mapping[str, str]) -> None:
        self.path = path
        with ExitStack() as opened:
            try:
                path.parent.mkdir(parents=True, exist_ok=True)
                lock = opened.enter_context(path.open("ab"))
                fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)  # SQLite's own locks would keep readers out as well
                self._connection = opened.enter_context(
                    closing(sqlite3.connect(path, timeout=WAIT_S, isolation_level=None))
                )
                self._open(plan)
            except BlockingIOError as error:
                raise UserError(
                    f"{path}: another command is writing trials into this file; wait for its end, or name another "
                    "with --into"
                ) from error
            except (sqlite3.Error, OSError) as error:
                raise UserError(f"{path}: {_what_to_do(error)}") from error
            self._opened = opened.pop_all()

    def _open(self, plan: Mapping[str, str]) -> None:
        self._connection.execute("BEGIN IMMEDIATE")
        names = {name for (name,) in self._connection.execute("SELECT name FROM sqlite_master")}
        if not names:
            self._make(plan)
        version = self._connection.execute("PRAGMA user_version").fetchone()[0]
        if (names and not {"campaign", "trials"} <= names) or version != VERSION:
            raise UserError(
                f"{self.path}: this is no file of trials, or one of another version; name another with --into"
            )
        self._connection.execute("COMMIT")
        self._check(plan)

    def _make(self, plan: Mapping[str, str]) -> None:
        for statement in TABLES.split(";"):
            self._connection.execute(statement)
        self._connection.executemany("INSERT INTO campaign VALUES (?, ?)", plan.items())
        self._connection.execute(f"PRAGMA user_version = {VERSION}")

    def _check(self, plan: Mapping[str, str]) -> None:
        kept = dict(self._connection.execute("SELECT key, value FROM campaign"))
        differing = [key for key, value in plan.items() if kept.get(key) != value]
        if differing:
            raise UserError(
                f"{self.path} has trials of another campaign (other {', '.join(differing)}); name another file with "
                "--into, or remove it"
            )

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._opened.close()

    def done(self) -> set[tuple[int, str]]:
        """Return number and variant of the trials that are over."""
        return set(self._connection.execute("SELECT number, variant FROM trials"))

    def successes(self) -> int:
        """Return how many of the trials that are over succeeded."""
        found: int = self._connection.execute("SELECT count(*) FROM trials WHERE is_success").fetchone()[0]
        return found

    def add(self, row: TrialRow, command: str) -> None:
        """Keep a row, with the command that shows its trial.

        Raises:
            UserError: it cannot be written.
        """
        delivered = None if row.truth is None else row.truth.delivered
        values = (
            *(row.number, row.variant, row.seed, row.is_success, why_not(row), *row.ended),
            *(row.counted, row.believed, delivered, row.robot_time_s, command, as_text(row)),
        )
        try:
            self._connection.execute(f"INSERT INTO trials VALUES ({', '.join('?' * len(values))})", values)
        except sqlite3.Error as error:
            raise UserError(f"{self.path}: {_what_to_do(error)}; what was written until now is kept") from error

    def commands(self) -> dict[tuple[int, str], str]:
        """Return the commands that show the trials, by number and variant."""
        found = self._connection.execute("SELECT number, variant, command FROM trials")
        return {(number, variant): command for number, variant, command in found}

    def rows(self) -> Iterator[TrialRow]:
        """Yield the rows by number, and each number's by the variant's name."""
        for (text,) in self._connection.execute("SELECT row FROM trials ORDER BY number, variant"):
            yield from_text(text)


def _what_to_do(error: sqlite3.Error | OSError) -> str:
    return f"cannot keep trials here: {error}; check the folder and its free space, or name another with --into"


def as_text(row: TrialRow) -> str:
    """Return a row as a text from which `from_text` makes it again."""
    return json.dumps(asdict(row) | {"ended": row.ended._asdict()}, sort_keys=True)


def from_text(text: str) -> TrialRow:
    """Return the row of a text."""
    values: dict[str, Any] = json.loads(text)
    truth = values["truth"]
    return TrialRow(
        **values
        | {
            "ended": Ended(**values["ended"]),
            "truth": None if truth is None else TrueFigures(**truth),
            "axis_errors_m": tuple(values["axis_errors_m"]),
        }
    )
