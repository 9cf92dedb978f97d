"""Clocks of the hosts. The core reads none of them: the time of a step comes with its readings."""

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


def is_synchronised() -> bool:
    """Tell whether the wall clock is set by a better one.

    Asks the kernel, changing nothing; see the manual page adjtimex(2): it returns TIME_ERROR while unsynchronised.
    """
    timex = ctypes.create_string_buffer(_TIMEX_BYTES)
    return ctypes.CDLL(None).adjtimex(timex) not in (-1, _TIME_ERROR)
