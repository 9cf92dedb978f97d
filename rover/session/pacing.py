"""Pacing of the loop on the monotonic clock: absolute times, and steps that are too late are skipped."""

import time


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
