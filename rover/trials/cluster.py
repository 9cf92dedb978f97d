"""Tasks on a Dask cluster, given its scheduler's address; its workers have this program and the same files."""

import importlib
from collections.abc import Callable, Generator, Iterable
from contextlib import closing
from typing import Any, TypeVar

from rover.errors import UserError, to_install

Task = TypeVar("Task")
Outcome = TypeVar("Outcome")

FOR_EACH = 4
"""Tasks that wait at each worker, so that none is ever idle."""
WITHIN_S = 5.0


def on_cluster(
    address: str,
    work: Callable[[Task], Outcome],
    tasks: Iterable[Task],
    lost: Callable[[Task, str], Outcome],
    prepare: Callable[[], str],
) -> Generator[tuple[Task, Outcome], None, None]:
    """Do tasks on a cluster, and yield each with what it came to, in the order in which they end.

    The scheduler has the tasks of a worker that dies done by another one, and gives a task up that kills several.

    Args:
        address: of the scheduler.
        work: is given one task after another.
        tasks: taken as workers become free.
        lost: makes the outcome of a task that is given up, of the task and the reason.
        prepare: called once on each worker, and here; it tells which program there is, which must be the same.

    Raises:
        UserError: the package is missing, nobody answers, or the cluster's program is another one.
    """
    try:
        distributed: Any = importlib.import_module("dask.distributed")
    except ImportError as error:
        raise UserError(f"--cluster needs the package 'distributed': {to_install('cluster')}") from error
    try:
        client = distributed.Client(address, timeout=WITHIN_S)
    except (OSError, ValueError) as error:
        raise UserError(f"--cluster {address}: no scheduler answers there: {error}") from error
    with closing(client):
        workers = _workers(client, address, prepare)
        remaining = iter(tasks)
        futures: dict[Any, Task] = {}

        def submit() -> Any:
            for task in remaining:
                future = client.submit(work, task, pure=False)
                futures[future] = task
                return future
            return None

        begun = [future for _ in range(FOR_EACH * workers) if (future := submit()) is not None]
        completed = distributed.as_completed(begun)
        for future in completed:
            task = futures.pop(future)
            raised = future.exception()
            yield task, future.result() if raised is None else lost(task, f"{type(raised).__name__}: {raised}")
            if (following := submit()) is not None:
                completed.add(following)


def _workers(client: Any, address: str, prepare: Callable[[], str]) -> int:
    """Return how many threads are at work, having seen that all have this program.

    Raises:
        UserError: there are none, or one has another program.
    """
    found = client.run(prepare)
    if not found:
        raise UserError(f"--cluster {address}: the scheduler has no workers")
    own = prepare()
    for worker, digest in sorted(found.items()):
        if digest != own:
            raise UserError(f"--cluster {address}: the worker {worker} has another program or other drivers than this")
    return sum(client.nthreads().values())
