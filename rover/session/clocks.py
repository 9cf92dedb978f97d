"""Clocks of the hosts, and the pace that they keep. The core reads none: the time of a step comes with its readings."""

import ctypes
import time

_TIME_ERROR = 5
_TIMEX_BYTES = 256


class PacedClock:
    """The monotonic clock, running ``factor`` times as fast from zero, for rehearsals with real threads."""

    def __init__(self, factor: float) -> None:
        self._factor = factor
        self._start = time.monotonic_ns()

    def now_ns(self) -> int:
        """Return the run's time in nanoseconds."""
        return int((time.monotonic_ns() - self._start) * self._factor)

    def sleep_until(self, due_ns: int) -> None:
        """Wait until the run's time has come to ``due_ns``; at once if it has passed."""
        wait = (due_ns - self.now_ns()) / self._factor * 1e-9
        if wait > 0.0:
            time.sleep(wait)


def next_due(due_ns: int, now_ns: int, period_ns: int) -> tuple[int, int]:
    """Return when the step after the one of ``due_ns`` is due, and how many steps before it are skipped as too late.

    All times lie on one grid, so that nothing adds up; what is late by less than a period is taken at once.
    """
    due_ns += period_ns
    skipped = max(0, (now_ns - due_ns) // period_ns)
    return due_ns + skipped * period_ns, skipped


class Pace:
    """Waits from step to step.

    Attributes:
        skipped: steps skipped so far.
    """

    def __init__(self, rate: float) -> None:
        self.skipped = 0
        self._period_ns = round(1e9 / rate)
        self._due_ns = time.monotonic_ns()

    def wait(self) -> int:
        """Wait for the next step and return the time (monotonic ns) at which it really begins."""
        self._due_ns, skipped = next_due(self._due_ns, time.monotonic_ns(), self._period_ns)
        self.skipped += skipped
        wait_ns = self._due_ns - time.monotonic_ns()
        if wait_ns > 0:
            time.sleep(wait_ns * 1e-9)
        return time.monotonic_ns()


def is_synchronised() -> bool:
    """Tell whether the wall clock is set by a better one.

    Asks the kernel, changing nothing; see the manual page adjtimex(2): it returns TIME_ERROR while unsynchronised.
    """
    timex = ctypes.create_string_buffer(_TIMEX_BYTES)
    return ctypes.CDLL(None).adjtimex(timex) not in (-1, _TIME_ERROR)
