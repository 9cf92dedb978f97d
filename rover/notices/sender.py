"""Sends what waits in an outbox, and tries again what was not taken, at longer and longer intervals."""

import fcntl
import os
import select
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from rover.errors import UserError, in_words
from rover.notices.end import fill_in_end
from rover.notices.mail import Patience
from rover.notices.outbox import Outbox, Waiting
from rover.notices.owner import is_alive
from rover.notices.way import COMMAND, MAIL, NotTakenError
from rover.notices.ways import Send, notices_of, opened

ALL = "all"
LOOKS_EVERY_S = 5.0
"""So often the outbox is looked at, if nobody says that there is something in it."""


@dataclass(frozen=True)
class Pauses:
    """After a failure it is tried again in ``first_s``, then in twice that, and so on up to ``longest_s``.

    A server that puts strangers off for a while (greylisting) wants a quarter of an hour at most.
    """

    first_s: float = 5.0
    longest_s: float = 900.0

    def after(self, failures: int) -> float:
        """Return the pause (s) after so many failures in a row."""
        return min(self.longest_s, self.first_s * 2.0 ** min(failures - 1, 20))


@dataclass
class _Due:
    """When to try again (monotonic s), after how many failures in a row."""

    failures: int = 0
    at_s: float = 0.0


@dataclass
class Sender:
    """Sends what waits in the outbox of an errand.

    What the errand file says of server and command counts as it stands when it is sent, so that a mistake there can be
    put right while notices wait.
    """

    outbox: Outbox
    errand: Path
    pauses: Pauses = field(default_factory=Pauses)
    patience: Patience = field(default_factory=Patience)
    _due: dict[int | str, _Due] = field(default_factory=dict)
    _taken: dict[int, str] = field(default_factory=dict)

    def due(self) -> list[Waiting]:
        """Return what waits, leaving out the ends of runs that go on; the end of one that is over is worded now."""
        found = []
        for one in self.outbox.waiting():
            if one.notice.run and is_alive(one.notice.run):
                continue
            found.append(one if one.notice.text else fill_in_end(self.outbox, one, notices_of(self.errand).templates))
        return found

    def send_due(self) -> float | None:
        """Try whatever is due by now, and return in how many seconds to try again; None: nothing waits.

        The end of a run that goes on waits too: a process that is killed lets go of its pipe before it counts as ended,
        and whoever sees the pipe end must not take that for nothing left to tell.

        Never raises for what it meets: it is noted in the outbox, and what waits stays.
        """
        if not self._is_due(ALL):
            return self._at(ALL) - time.monotonic()
        try:
            waiting = self.due()
            for way in (MAIL, COMMAND):
                self._send(way, [one for one in waiting if one.notice.way == way and self._is_due(way, one.number)])
            left = self.due()
            self._due.pop(ALL, None)
        except Exception as error:  # the errand file, the outbox, a bug: the next try may do better
            self._note_for_all(str(error) if isinstance(error, UserError) else in_words(error))
            self._put_off(ALL)
            return self._at(ALL) - time.monotonic()
        if not left:
            return LOOKS_EVERY_S if self.outbox.waiting() else None
        return min(max(self._at(one.notice.way), self._at(one.number)) for one in left) - time.monotonic()

    def _note_for_all(self, why: str) -> None:
        with suppress(UserError):
            for one in self.outbox.waiting():
                self.outbox.note_failed(one.number, why)

    def _at(self, key: int | str) -> float:
        return self._due[key].at_s if key in self._due else 0.0

    def _is_due(self, *keys: int | str) -> bool:
        return all(self._at(key) <= time.monotonic() for key in keys)

    def _send(self, way: str, rows: list[Waiting]) -> None:
        if not rows:
            return
        tried = rows[0]
        try:
            with opened(way, notices_of(self.errand), self.patience) as send:
                for tried in rows:
                    self._try(send, tried)
            self._due.pop(way, None)
        except UserError as error:
            self.outbox.note_failed(tried.number, str(error))
            self._put_off(way)

    def _try(self, send: Send, one: Waiting) -> None:
        try:
            said = self._taken[one.number] if one.number in self._taken else send(one.notice)
        except NotTakenError as error:
            self.outbox.note_failed(one.number, str(error))
            self._put_off(one.number)
        else:
            self._taken[one.number] = said  # until it is noted: a full disk must not have it sent again
            self.outbox.note_sent(one.number, datetime.now().astimezone().isoformat(timespec="seconds"), said)
            del self._taken[one.number]

    def _put_off(self, key: int | str) -> None:
        due = self._due.setdefault(key, _Due())
        due.failures += 1
        due.at_s = time.monotonic() + self.pauses.after(due.failures)


class AtWorkError(UserError):
    """Another process sends from this outbox."""


@contextmanager
def alone(outbox: Path) -> Iterator[None]:
    """Hold an outbox for oneself: of several senders one is at work. The end of a process lets go of it.

    Raises:
        AtWorkError: another one has it.
    """
    lock = os.open(outbox.with_suffix(".lock"), os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
    try:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise AtWorkError(f"{outbox}: another process is at work sending these notices") from None
        yield
    finally:
        os.close(lock)


def serve(sender: Sender, run: int) -> None:
    """Send for as long as anything waits or the run may put something in; ``run`` is a pipe that the run holds open.

    A byte in the pipe has the outbox looked at, its end tells that the run is over. It ends too when the outbox is
    removed.
    """
    pipe: int | None = run
    while sender.outbox.path.exists():
        wait_s = _send_alone(sender)
        if wait_s is None and pipe is None:
            return
        pause_s = LOOKS_EVERY_S if wait_s is None else min(max(wait_s, 0.0), LOOKS_EVERY_S)
        pipe = _waited(pipe, pause_s)


def _send_alone(sender: Sender) -> float | None:
    """As `Sender.send_due`; where another process is at work, or no lock can be had, it is looked at again later."""
    try:
        with alone(sender.outbox.path):
            return sender.send_due()
    except (AtWorkError, OSError):
        return LOOKS_EVERY_S


def _waited(pipe: int | None, pause_s: float) -> int | None:
    """Wait; return the pipe, None once its other end is closed."""
    if pipe is None:
        time.sleep(pause_s)
        return None
    readable, _, _ = select.select([pipe], [], [], pause_s)
    return pipe if not readable or os.read(pipe, 4096) else None
