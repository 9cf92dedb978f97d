"""Checks of a driver's beginning and end: the runtime makes it, and after a failure closes it and makes another."""

import os
import threading
import time
from contextlib import suppress

from rover.devices.meanwhile import FAILURES
from rover.errors import in_words
from rover.testing.driver import DriverUnderTest
from rover.testing.trial import AtWork
from rover.testing.watch import ContractError, Watch, watched

GONE_WITHIN_S = 2.0
"""A thread may take so long to end after close()."""
TIMES = 3


def check_it_is_made(subject: DriverUnderTest) -> None:
    """The constructor returns, with a driver that has what the runtime calls.

    A run starts when all devices are there: one that waits for ever keeps the robot from it.
    """
    driver = watched(lambda watch: AtWork(subject, watch)).driver
    needed = [*(["poll"] if subject.reports else []), *(["apply"] if subject.acts else []), "close"]
    with suppress(*FAILURES):
        driver.close()
    if missing := [name for name in needed if not callable(getattr(driver, name, None))]:
        raise ContractError(f"it has no {' and no '.join(f'{name}()' for name in missing)}, which the runtime calls")


def check_it_closes_twice(subject: DriverUnderTest) -> None:
    """`close` returns, and a second call does nothing.

    However a run ends everything is closed, also what has been closed already for a failure.
    """

    def work(watch: Watch) -> None:
        at_work = AtWork(subject, watch)
        for time_ in ("", " the second time"):
            try:
                at_work.close()
            except FAILURES as error:
                raise ContractError(
                    f"close() raised {in_words(error)}{time_}; it lets go of what is held, and a "
                    "second call does nothing"
                ) from error

    watched(work)


def check_nothing_is_left_behind(subject: DriverUnderTest) -> None:
    """After `close` no thread is at work and no file is open that was not before.

    A driver that failed is made anew again and again: what each leaves behind adds up, or keeps the next from its port.
    """
    _live_and_die(subject)  # what is imported and opened once for all, such as a library's own threads, is left out
    threads, files = set(threading.enumerate()), _open_files()
    _live_and_die(subject)
    end_s = time.monotonic() + GONE_WITHIN_S
    while time.monotonic() < end_s and (set(threading.enumerate()) - threads or _open_files().keys() - files.keys()):
        time.sleep(0.01)
    if left := [thread.name for thread in threading.enumerate() if thread not in threads]:
        raise ContractError(f"{GONE_WITHIN_S:g} s after close() its thread '{left[0]}' is still at work; end it there")
    if opened := {number: name for number, name in _open_files().items() if number not in files}:
        raise ContractError(f"after close() it still has {next(iter(opened.values()))} open; close it there")


def check_it_can_be_made_again(subject: DriverUnderTest) -> None:
    """Closed and made anew, it works as before, as often as that is done.

    So the runtime brings back a device whose driver failed: after each failure, with growing waits.
    """
    for number in range(TIMES):
        try:
            _live_and_die(subject)
        except (*FAILURES, ContractError) as error:
            if number == 0:
                raise
            raise ContractError(f"made anew after close() it did not work any more: {error}") from error


def _live_and_die(subject: DriverUnderTest) -> None:
    """Make a driver, have a report of it if it gives any, and close it."""

    def work(watch: Watch) -> None:
        at_work = AtWork(subject, watch)
        try:
            if subject.reports:
                at_work.polls_to_a_reading()
        finally:
            at_work.close()

    watched(work)


def _open_files() -> dict[str, str]:
    """Return what this process has open, by the number of its descriptor; a number used anew is taken for the same."""
    names = {}
    for number in os.listdir("/proc/self/fd"):
        with suppress(OSError):
            names[number] = os.readlink(f"/proc/self/fd/{number}")
    return names
