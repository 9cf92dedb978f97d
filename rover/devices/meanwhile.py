"""What takes longer than a step: done at once in a rehearsal, whose time stands still for it, or in a thread."""

import threading
from collections.abc import Callable
from concurrent.futures import Future
from typing import Any

FAILURES = (Exception, SystemExit)
"""What code of a person's own may raise without taking the run along."""

Meanwhile = Callable[[Callable[[], Any]], "Future[Any]"]
"""Has something done that takes its time; the future has what it returned or raised."""


def at_once(work: Callable[[], Any]) -> "Future[Any]":
    """Do it here and now, so that the same run gives the same again: the future is done."""
    done: Future[Any] = Future()
    _do(work, done)
    return done


def in_a_thread(work: Callable[[], Any]) -> "Future[Any]":
    """Do it in a thread of its own: what it waits for must not hold up the robot's loop."""
    doing: Future[Any] = Future()
    threading.Thread(target=_do, args=(work, doing), name="meanwhile", daemon=True).start()
    return doing


def _do(work: Callable[[], Any], future: "Future[Any]") -> None:
    try:
        future.set_result(work())
    except FAILURES as error:
        future.set_exception(error)
