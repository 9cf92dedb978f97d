"""Tasks side by side: one whose process dies is done again, one that always kills it is given up, none else is lost."""

import os
import signal
import time
from pathlib import Path

import pytest

from rover.trials import side_by_side
from rover.trials.side_by_side import SideBySide


@pytest.fixture(autouse=True)
def _workers_find_this_module(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.syspath_prepend(Path(__file__).parents[2])


def doubled(task: int) -> int:
    return 2 * task


def in_process(task: int) -> int:
    return os.getpid()


def dies_at_three(task: int) -> int:
    if task == 3:
        os.kill(os.getpid(), signal.SIGKILL)
    return task


def dies_once(task: Path) -> str:
    if not task.exists():
        task.touch()
        os._exit(7)
    return "done"


def hangs_at_one(task: int) -> int:
    while task == 1:
        time.sleep(0.01)
    return task


def given_up(task: object, why: str) -> str:
    return why


def test_every_task_is_done_once_whatever_the_number_of_workers() -> None:
    for jobs in (1, 3):
        done = dict(SideBySide(doubled, range(7), given_up).run(jobs))
        assert done == {task: 2 * task for task in range(7)}


def test_as_many_processes_are_at_work_as_was_said() -> None:
    assert len({process for _, process in SideBySide(in_process, range(6), given_up).run(2)}) <= 2


def test_no_tasks_are_no_work() -> None:
    assert list(SideBySide(doubled, [], given_up).run(2)) == []


def test_a_task_that_kills_its_process_each_time_is_given_up_and_the_others_are_done() -> None:
    done = dict(SideBySide(dies_at_three, range(6), given_up).run(2))
    assert done == {0: 0, 1: 1, 2: 2, 3: "its process ended with SIGKILL", 4: 4, 5: 5}


def test_a_task_whose_process_died_is_done_by_another_one(tmp_path: Path) -> None:
    assert dict(SideBySide(dies_once, [tmp_path / "mark"], given_up).run(1)) == {tmp_path / "mark": "done"}


def test_a_task_that_hangs_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(side_by_side, "LONGEST_S", 0.2)
    done = dict(SideBySide(hangs_at_one, [1], given_up).run(1))
    assert done == {1: "it was not over after 0 min"}


def test_whoever_stops_iterating_ends_the_processes() -> None:
    results = SideBySide(in_process, range(100), given_up).run(2)
    _, process = next(results)
    results.close()
    with pytest.raises(ProcessLookupError):
        os.kill(process, 0)
