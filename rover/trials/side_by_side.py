"""Tasks side by side in processes of their own: one that dies or hangs costs its own task only."""

import contextlib
import multiprocessing
import os
import signal
import time
from collections.abc import Callable, Generator, Iterable, Iterator
from multiprocessing.connection import Connection, wait
from typing import Any, Generic, TypeVar

Task = TypeVar("Task")
Outcome = TypeVar("Outcome")


LONGEST_S = 1800.0
"""A task that takes longer is given up; the longest rehearsal, 4 h of robot time, takes a few minutes."""
TRIES = 2
"""A task whose worker dies is begun again by another one, so many times in all."""


def nothing() -> None:
    """Prepare nothing."""


class Worker(Generic[Task, Outcome]):
    """A process that does one task after another. Without its parent it ends with the task that it is at.

    Attributes:
        task: the one it is at.
        tries: how often that one was begun, this time included.
    """

    def __init__(self, work: Callable[[Task], Outcome], prepare: Callable[[], object]) -> None:
        context = multiprocessing.get_context("spawn")
        self.connection, theirs = context.Pipe()
        self._process = context.Process(target=_serve, args=(theirs, work, prepare))
        with _ignored(signal.SIGINT):  # the process has that from the start: the parent decides what a Ctrl-C ends
            self._process.start()
        theirs.close()

    def begin(self, task: Task, tries: int) -> None:
        """Hand a task over."""
        self.task, self.tries, self._began_s = task, tries, time.monotonic()
        with contextlib.suppress(BrokenPipeError):  # it has died; whoever waits for it sees that
            self.connection.send(task)

    @property
    def is_overdue(self) -> bool:
        """Whether its task takes too long."""
        return time.monotonic() - self._began_s > LONGEST_S

    def received(self) -> tuple[Outcome] | None:
        """Return what the task came to; None where nothing came in time, or the process is no more."""
        try:
            return (self.connection.recv(),) if self.connection.poll() else None
        except (EOFError, ConnectionResetError):
            return None

    def end(self) -> None:
        """End the process at once."""
        self._process.kill()
        self._process.join()
        self._process.close()
        self.connection.close()

    def why_lost(self) -> str:
        """Return why nothing came of the task."""
        if self.is_overdue:
            return f"it was not over after {LONGEST_S / 60.0:.0f} min"
        self._process.join(1.0)
        code = self._process.exitcode or 0
        return f"its process ended with {signal.Signals(-code).name if code < 0 else f'exit code {code}'}"


class SideBySide(Generic[Task, Outcome]):
    """Does tasks in processes side by side.

    Args:
        work: a function of a module, which is given one task after another.
        tasks: taken as workers become free.
        lost: what a task that is given up comes to.
        prepare: a function of a module, called once in each process.
    """

    def __init__(
        self,
        work: Callable[[Task], Outcome],
        tasks: Iterable[Task],
        lost: Callable[[Task, str], Outcome],
        prepare: Callable[[], object] = nothing,
    ) -> None:
        self._work, self._lost, self._prepare = work, lost, prepare
        self._tasks = iter(tasks)
        self._again: list[tuple[Task, int]] = []
        self._workers: list[Worker[Task, Outcome]] = []

    def run(self, jobs: int) -> Generator[tuple[Task, Outcome], None, None]:
        """Yield each task with what it came to, in the order in which they end; ``jobs`` processes are at work at once.

        Whoever stops iterating, be it by an interrupt, ends the processes.
        """
        try:
            while self._start(jobs):
                ready = wait([worker.connection for worker in self._workers], timeout=1.0)
                for worker in [one for one in self._workers if one.connection in ready or one.is_overdue]:
                    yield from self._settle(worker)
        finally:
            for worker in self._workers:
                worker.end()

    def _start(self, jobs: int) -> bool:
        """Have as many workers as there is work for, and tell whether there are any."""
        while len(self._workers) < jobs and (following := self._next()) is not None:
            self._workers.append(Worker(self._work, self._prepare))
            self._workers[-1].begin(*following)
        return bool(self._workers)

    def _next(self) -> tuple[Task, int] | None:
        if self._again:
            return self._again.pop()
        return next(((task, 1) for task in self._tasks), None)

    def _settle(self, worker: Worker[Task, Outcome]) -> Iterator[tuple[Task, Outcome]]:
        """Take what a worker has come to, and give it more to do, or end it."""
        received = worker.received()
        if received is not None:
            yield worker.task, received[0]
            if (following := self._next()) is not None:
                worker.begin(*following)
                return
        elif worker.is_overdue or worker.tries >= TRIES:
            yield worker.task, self._lost(worker.task, worker.why_lost())
        else:
            self._again.append((worker.task, worker.tries + 1))
        self._workers.remove(worker)
        worker.end()


@contextlib.contextmanager
def _ignored(number: signal.Signals) -> Iterator[None]:
    """Ignore a signal; a process that is started meanwhile ignores it for good."""
    before = signal.signal(number, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(number, before)


def _serve(connection: Connection, work: Callable[[Any], Any], prepare: Callable[[], object]) -> None:
    """Do what comes until nothing more can come. What own code prints must not run into the parent's results."""
    os.dup2(2, 1)
    prepare()
    while True:
        try:
            task = connection.recv()
        except (EOFError, ConnectionResetError):
            return
        outcome = work(task)
        try:
            connection.send(outcome)
        except BrokenPipeError:  # nobody is there any more to take it
            return
