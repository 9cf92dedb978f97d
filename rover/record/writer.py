"""Writes the run record: one SQLite file a run, by a thread of its own.

The robot's thread only appends to queues. The writer wakes each half second, and at once for an event, and commits
what has come in. Power may go at any moment: what was committed stays (write-ahead log, ``synchronous=FULL``).
Nothing that goes wrong with the disk is raised to the robot: it is kept in `RunRecord.trouble`.
"""

import os
import sqlite3
import threading
from collections import deque
from collections.abc import Iterable, Mapping, Sequence
from itertools import chain
from pathlib import Path
from typing import Any

from rover.core.interface import StepReadings, StepRecord
from rover.devices.readings import Reading
from rover.events import TrackPoint
from rover.record import schema
from rover.record.run import Gap, RecordError, RunEnd
from rover.record.secrets import Hiding
from rover.record.steps import StepRows, reading_text

Row = tuple[object, ...]

COMMIT_EVERY_S = 0.5
WAITING_AT_MOST = 50_000  # calls, for each kind of sample: a quarter of an hour of readings at 50 Hz
CLOSE_WITHIN_S = 10.0
SYNCHRONOUS = "FULL"
"""What was committed is on the disk; the tests show what comes of less."""
ROWS_AT_ONCE = 128


class SampleQueue:
    """Samples on their way to one table, never waiting; when full, it drops further ones and remembers the gap.

    Synchronization: one thread puts, another takes. Both ends of a `collections.deque` are safe for that.

    Attributes:
        table: name of the table, for the gaps.
        limit: samples that may wait. Memory is bounded by it, and it lasts out a disk that hangs for a while.
        gaps: gaps that have ended; whoever writes them takes them out from the left.
    """

    def __init__(self, table: str, limit: int) -> None:
        self.table = table
        self.limit = limit
        self.gaps: deque[Gap] = deque()
        self._waiting: deque[Any] = deque()
        self._gap: Gap | None = None

    def put(self, at_ns: int, sample: Any) -> None:
        """Add a sample, or drop it when the queue is full."""
        if len(self._waiting) >= self.limit:
            self._widen_gap(at_ns)
            return
        if self._gap is not None:
            self.close_gap()
        self._waiting.append(sample)

    def take(self) -> list[Any]:
        """Return all that waits, oldest first, and leave the queue empty."""
        take = self._waiting.popleft
        return [take() for _ in range(len(self._waiting))]

    def __len__(self) -> int:
        return len(self._waiting)

    def close_gap(self) -> None:
        """Hand over the gap that is open, if there is one. To be called by the thread that puts."""
        if self._gap is not None:
            self.gaps.append(self._gap)
            self._gap = None

    def _widen_gap(self, at_ns: int) -> None:
        gap = self._gap or Gap(self.table, at_ns, at_ns, 0)
        self._gap = Gap(gap.table, gap.from_ns, at_ns, gap.samples + 1)


class RunRecord:
    """The record of a run that is going on.

    Synchronization: all methods are for one thread, the robot's; none of them waits, but for `finish`.
    The connection belongs to the writer's thread alone.

    Attributes:
        trouble: what went wrong with writing first, in words for a person; empty when nothing did.
        failing: what goes wrong with it at present.
    """

    def __init__(self, connection: sqlite3.Connection, path: Path, waiting_at_most: int = WAITING_AT_MOST) -> None:
        self.trouble = self.failing = ""
        self._connection = connection
        self._path, self._number = path, path.stat().st_ino
        self._queues = {name: SampleQueue(name, waiting_at_most) for name in ("track", "true_track", "readings")}
        self._hide, self._rows = Hiding(), StepRows()
        self._entries: deque[tuple[int, schema.Entry]] = deque()
        self._kept: list[tuple[int, schema.Entry]] = []  # the writer's own: entries that no commit has taken yet
        self._written = 0
        self._latest_ns = 0
        self._closing = False
        self._wake = threading.Event()
        self._thread = threading.Thread(target=self._write_until_closed, name="run record", daemon=True)
        self._thread.start()

    @staticmethod
    def create(path: Path, header: Mapping[str, str]) -> "RunRecord":
        """Make the file of a new run, with its header, and begin to write to it.

        Raises:
            RecordError: the file is there already, or cannot be made.
        """
        if path.exists():
            raise RecordError(f"{path}: there is a file already, and records are never written over; name another")
        try:
            return RunRecord(_new_file(path, header), path)
        except (sqlite3.Error, OSError) as error:
            raise RecordError(
                f"{path}: cannot make a run record: {error}; check the folder and its free space"
            ) from None

    def step(self, at_ns: int, point: TrackPoint, duties: tuple[float, float]) -> None:
        """Record where the robot believes to be and its motor duties; about ten times a second."""
        self._latest_ns = at_ns
        self._queues["track"].put(at_ns, (at_ns, *schema.point_values(point), *duties))

    def readings(self, at_ns: int, rows: Sequence[tuple[str, Reading]]) -> None:
        """Record the readings (device, reading) that came in at ``at_ns``."""
        self._take_readings(at_ns, (at_ns, rows, None))

    def given(self, given: StepReadings, decided: StepRecord) -> None:
        """Record all that a step was given, and what it commanded; the rows of it are made in the writer's thread."""
        self._take_readings(given.now_ns, (given.now_ns, given, decided))

    def _take_readings(self, at_ns: int, sample: tuple[int, Any, StepRecord | None]) -> None:
        queue = self._queues["readings"]
        queue.put(at_ns, sample)
        if len(queue) == queue.limit // 4:
            self._wake.set()

    def true_pose(self, at_ns: int, pose: tuple[float, float, float]) -> None:
        """Record where the robot really was (x m, y m, heading rad), where a bench knows."""
        self._queues["true_track"].put(at_ns, (at_ns, *pose))

    def entry(self, at_ns: int, entry: schema.Entry) -> None:
        """Record an event, or what a bench knows of an object; it is committed at once, and never dropped."""
        self._latest_ns = max(self._latest_ns, at_ns)
        self._entries.append((at_ns, entry))
        self._wake.set()

    def finish(self, result: str, reason: str, summary: Mapping[str, object]) -> None:
        """Record the end of the run and close the file; a second call does nothing.

        Waits until all is written, but no longer than `CLOSE_WITHIN_S`. ``summary`` may hold ``expected``, the
        number of objects that were to be brought, for the report.
        """
        if self._closing:
            return
        for queue in self._queues.values():
            queue.close_gap()
        self.entry(self._latest_ns, RunEnd(result, reason, dict(summary)))
        self._closing = True
        self._wake.set()
        self._thread.join(CLOSE_WITHIN_S)
        if self._thread.is_alive():
            hangs = f"{self._path}: still not written {CLOSE_WITHIN_S:.0f} s after the end; is the disk hanging?"
            self.trouble = f"{self.trouble}; {hangs}" if self.trouble else hangs

    # What follows runs in the writer's thread.

    def _write_until_closed(self) -> None:
        closing = False
        while not closing:
            self._wake.wait(COMMIT_EVERY_S)
            self._wake.clear()
            closing = self._closing  # before taking, so that the last round takes all
            self._commit()
        if self._kept:
            self.trouble += f"; {len(self._kept)} events were not written"
        self._close()

    def _commit(self) -> None:
        batches = [(queue.table, queue.take()) for queue in self._queues.values()]
        self._take_entries()
        if not self._kept and not any(samples for _, samples in batches):
            return
        try:
            with self._connection:
                for table, samples in batches:
                    _insert(
                        self._connection,
                        table,
                        _reading_rows(samples, self._rows, self._hide) if table == "readings" else samples,
                    )
                self._insert_kept()
        except Exception as error:  # whatever it is, the robot goes on: events are tried again, samples are gone
            full = f"{self._path}: the run record could not be written: {error}; make room on its disk"
            self._fail(_why_lost(self._path, self._number) or full)
            for table, samples in batches:
                if samples:
                    first_ns, last_ns = samples[0][0], samples[-1][0]
                    self._kept.append((last_ns, Gap(table, first_ns, last_ns, len(samples))))
        else:
            self._fail(_why_lost(self._path, self._number))
            self._written += len(self._kept)
            self._kept.clear()

    def _fail(self, why: str) -> None:
        """Note what is wrong at present, '' for nothing; the first trouble is kept."""
        self.failing = why
        self.trouble = self.trouble or why

    def _take_entries(self) -> None:
        self._kept += [self._entries.popleft() for _ in range(len(self._entries))]
        for queue in self._queues.values():
            gaps = [queue.gaps.popleft() for _ in range(len(queue.gaps))]
            self._kept += [(gap.to_ns, gap) for gap in gaps]

    def _insert_kept(self) -> None:
        by_table: dict[str, list[Row]] = {}
        for entry_number, (at_ns, entry) in enumerate(self._kept, self._written + 1):
            rows = by_table.setdefault(schema.ENTRY_TABLES[type(entry)], [])
            row = (self._hide(column) if isinstance(column, str) else column for column in schema.entry_row(entry))
            rows.append((entry_number, at_ns, *row))
        for table, rows in by_table.items():
            _insert(self._connection, table, rows)

    def _close(self) -> None:
        try:
            # Back to one plain file, which can be read from a write-protected folder too.
            self._connection.execute("PRAGMA journal_mode=DELETE")
            self._connection.close()
        except sqlite3.Error as error:
            self._fail(f"{self._path}: the run record could not be finished: {error}; make room on its disk")


def _why_lost(path: Path, number: int) -> str:
    """Return what has become of the file (inode number given), or '': what is written to a deleted one goes nowhere."""
    log = Path(f"{path}-wal")
    is_writable = os.access(path, os.W_OK) and os.access(log, os.W_OK)  # asked first: it may go while it is asked for
    try:
        is_ours = path.stat().st_ino == number and log.exists()
    except OSError:
        is_ours = False
    if not is_ours:
        return f"{path}: the run record was deleted or moved under the run, which goes on without"
    if not is_writable:
        return f"{path}: the run record was made read-only under the run; give the right to write back"
    return ""


def _new_file(path: Path, header: Mapping[str, str]) -> sqlite3.Connection:
    connection = sqlite3.connect(path, check_same_thread=False, cached_statements=8)
    connection.execute("PRAGMA journal_mode=WAL")
    connection.execute(f"PRAGMA synchronous={SYNCHRONOUS}")
    connection.executescript(f"BEGIN; {schema.TABLES} COMMIT;")
    with connection:
        hide = Hiding()
        rows = [(key, hide(value)) for key, value in header.items()]
        connection.executemany("INSERT INTO header VALUES (?, ?)", [*rows, ("schema", str(schema.VERSION))])
    _sync_folder(path.parent)
    return connection


def _sync_folder(folder: Path) -> None:
    """Have it on the disk that the file is there; the database sees to that only for the files beside it."""
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _insert(connection: sqlite3.Connection, table: str, rows: Sequence[Row]) -> None:
    """Insert rows, many by each statement.

    ``executemany`` would give the interpreter's lock away and wait for it again at each row: up to 5 ms each while
    a rehearsal keeps the processor busy. A statement that names more rows at once takes longer to parse than it saves.
    """
    if not rows:
        return
    columns = len(rows[0])
    row = f"({','.join('?' * columns)})"
    for first in range(0, len(rows), ROWS_AT_ONCE):
        part = rows[first : first + ROWS_AT_ONCE]
        values = list(chain.from_iterable(part))
        connection.execute(f"INSERT INTO {table} VALUES {','.join([row] * len(part))}", values)


def _reading_rows(samples: Iterable[Any], rows_of: StepRows, hide: Hiding) -> list[Row]:
    return [
        (at_ns, device, sequence, taken_ns, hide.in_reading(reading_text(device, value)))
        for at_ns, given, decided in samples
        for device, (taken_ns, sequence, value) in (given if decided is None else rows_of.of(given, decided))
    ]
