"""Trials on a real Dask scheduler with two workers on loopback: the rows are those of the process pool."""

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing
from functools import partial
from pathlib import Path

import pytest
from dask.distributed import Client

from rover.commands.trials import prepared
from rover.errors import UserError
from rover.trials.campaign import Campaign, Variant
from rover.trials.cluster import on_cluster
from rover.trials.side_by_side import SideBySide
from rover.trials.trial import lost_row, run_trial
from tests.trials.conftest import ShortErrand


class Cluster:
    """A scheduler and two workers, each a process of its own as a person starts them."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._processes: list[subprocess.Popen[bytes]] = []
        file = folder / "scheduler.json"
        self._start("scheduler", "--host", "127.0.0.1", "--port", "0", "--scheduler-file", str(file))
        while not (file.exists() and file.read_text()):
            assert self._processes[0].poll() is None
            time.sleep(0.05)
        self.address = str(json.loads(file.read_text())["address"])
        for _ in range(2):
            self._start("worker", self.address, "--nthreads", "1", "--host", "127.0.0.1")
        with Client(self.address) as client:
            client.wait_for_workers(2)

    def _start(self, *words: str) -> None:
        command = [sys.executable, "-m", "dask", *words, "--dashboard-address", "127.0.0.1:0"]
        said = (self._folder / f"said-{len(self._processes)}").open("wb")
        self._processes.append(subprocess.Popen(command, cwd=self._folder, stdout=said, stderr=said))
        said.close()

    def close(self) -> None:
        for process in self._processes:
            process.terminate()
            process.wait()


@pytest.fixture(scope="module")
def scheduler(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    with closing(Cluster(tmp_path_factory.mktemp("cluster"))) as cluster:
        yield cluster.address


this_program = partial(prepared, ())


def given_up(task: object, why: str) -> str:
    return why


def test_the_rows_are_those_of_the_pool(scheduler: str, short: ShortErrand) -> None:
    trials = list(Campaign((Variant("", short.path),), 9).trials())
    by_number = dict.fromkeys(range(1, 10))
    in_pool = by_number | {row.number: row for _, row in SideBySide(run_trial, trials, lost_row).run(2)}
    on_both = by_number | {
        row.number: row for _, row in on_cluster(scheduler, run_trial, trials, lost_row, this_program)
    }
    assert on_both == in_pool


def test_a_task_whose_worker_dies_is_done_by_another(scheduler: str, tmp_path: Path) -> None:
    def killed_once(mark: Path) -> str:  # goes to the workers by value, as it is in no module that they have
        if not mark.exists():
            mark.touch()
            os.kill(os.getpid(), signal.SIGKILL)
        return "done"

    assert dict(on_cluster(scheduler, killed_once, [tmp_path / "mark"], given_up, this_program)) == {
        tmp_path / "mark": "done"
    }


def test_what_a_task_raises_is_its_outcome(scheduler: str) -> None:
    def raises(task: int) -> str:
        raise ValueError("of one's own")

    assert dict(on_cluster(scheduler, raises, [1], given_up, this_program)) == {1: "ValueError: of one's own"}


def test_where_nobody_answers() -> None:
    with pytest.raises(UserError, match="no scheduler answers there"):
        next(on_cluster("tcp://127.0.0.1:9", abs, [1], given_up, this_program))


def test_another_program_on_the_cluster_is_refused(scheduler: str) -> None:
    calls = os.getpid()

    def other_there() -> str:
        return "the same here" if os.getpid() == calls else "another there"

    with pytest.raises(UserError, match="has another program or other drivers than this"):
        next(on_cluster(scheduler, abs, [1], given_up, other_there))
