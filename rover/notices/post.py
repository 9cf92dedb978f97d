"""The run's side: takes what happens, never waits, and sees to it that it is sent."""

import threading
import time
from collections import deque
from contextlib import closing, suppress
from datetime import datetime
from pathlib import Path

from rover.events import Event, StateChange, TrackPoint
from rover.files.errand import Errand
from rover.files.notices import Notices
from rover.notices.drafts import Drafts, Happened
from rover.notices.outbox import Notice, Outbox, OutboxError, Waiting, path_beside
from rover.notices.owner import this_process
from rover.notices.process import SenderProcess

AGAIN_EVERY_S = 2.0
"""How often it is tried to write to an outbox that cannot be written."""
CLOSE_WITHIN_S = 5.0
WAITING_AT_MOST = 1000
"""Events that wait for their notice; of more, the oldest are lost."""


class Post:
    """Takes the events of a run, and puts a notice of those that are worth one into the outbox beside its record.

    Nothing is told before the behaviour has begun: until then a person stands beside the robot. From then on the end is
    in the outbox too, and becomes due when this process has ended, however that comes about.

    Synchronization: `take` is for the run's thread and only appends; a thread beside it writes.

    Args:
        file: the errand file.
        errand, notices: what it says.
        record: of the run.
        mark: what every subject begins with.
    """

    def __init__(self, file: Path, errand: Errand, notices: Notices, record: Path, mark: str = "") -> None:
        self._file, self._path, self._run = file, path_beside(record, file), this_process()
        self._drafts = Drafts(errand.errand, notices, record, self._run, mark)
        self._happened: deque[Happened] = deque(maxlen=WAITING_AT_MOST)
        self._unwritten: list[Notice] = []
        self._has_begun = self._is_closing = False
        self._trouble = ""
        self._wake = threading.Event()
        self._sender = SenderProcess(self._path, file)
        self._thread = threading.Thread(target=self._write_until_closed, name="notices", daemon=True)
        self._thread.start()

    def take(self, event: Event, seconds: float, point: TrackPoint, delivered: int) -> None:
        """Take an event as `rover.session.loop.Tell` gives it; the run's thread goes on at once."""
        is_first = isinstance(event, StateChange) and not self._has_begun
        if is_first or (self._has_begun and self._drafts.is_wanted(event)):
            self._has_begun = True
            self._happened.append(Happened(event, seconds, point, delivered, datetime.now().astimezone()))
            self._wake.set()

    def close(self) -> str:
        """Let the end be told, wait a few seconds for what can be sent at once, and return how it stands.

        The process that sends goes on without us until nothing waits.
        """
        self._is_closing = True
        self._wake.set()
        self._thread.join(CLOSE_WITHIN_S)
        if not self._has_begun:
            return ""
        if self._unwritten or self._thread.is_alive():
            return f"notices: {len(self._unwritten) or 'some'} are lost: {self._trouble or 'is the disk hanging?'}"
        try:
            return self._how_it_stands()
        except OutboxError as error:
            return f"notices: {error}"

    def _how_it_stands(self) -> str:
        until_s = time.monotonic() + CLOSE_WITHIN_S
        with closing(Outbox(self._path)) as outbox:
            while (waiting := _due(outbox)) and time.monotonic() < until_s:
                time.sleep(0.05)
        if not waiting:
            return "notices: all sent"
        last = next((one.last for one in waiting if one.last), "not tried yet")
        return (
            f"notices: {len(waiting)} not sent yet ({last}); they are tried again in the background, "
            f"also by: rover notices {self._file}"
        )

    # What follows runs in the thread beside.

    def _write_until_closed(self) -> None:
        is_closing = False
        while not is_closing:
            self._wake.wait(AGAIN_EVERY_S if self._unwritten else None)
            self._wake.clear()
            is_closing = self._is_closing
            while self._happened:
                self._unwritten += self._drafts.of(self._happened.popleft())
            self._write()
        until_s = time.monotonic() + CLOSE_WITHIN_S / 2.0
        while self._unwritten and time.monotonic() < until_s:
            time.sleep(0.1)
            self._write()
        with suppress(OutboxError), closing(Outbox(self._path)) as outbox:
            outbox.note_end_of(self._run)
        self._sender.nudge()
        self._sender.let_go()

    def _write(self) -> None:
        if not self._unwritten:
            return
        try:
            with closing(Outbox(self._path)) as outbox:
                outbox.put(self._unwritten)
        except OutboxError as error:
            self._trouble = str(error)
        else:
            self._unwritten.clear()
            self._sender.nudge()


def _due(outbox: Outbox) -> list[Waiting]:
    """Return what waits, without the ends of runs that go on."""
    return [one for one in outbox.waiting() if not one.notice.run]
