"""How well the loop keeps its time, as far as its own thread can tell."""

import time

WINDOW_S = 2.0


class StepTiming:
    """Looks at the steps of the last seconds.

    Args:
        period_s: of the loop.
    """

    def __init__(self, period_s: float = 0.02) -> None:
        self._period_s = period_s
        self._last_ns: int | None = None
        self._began_s = time.monotonic()
        self._worst_s = 0.0
        self._steps = self._late = 0
        self._facts: dict[str, float | int | None] = {"rate": None, "worst_ms": None, "late": 0}

    def step(self, now_ns: int) -> None:
        """Take the time of a step in."""
        if self._last_ns is not None:
            interval_s = (now_ns - self._last_ns) * 1e-9
            self._worst_s = max(self._worst_s, interval_s)
            self._late += interval_s > 1.5 * self._period_s
        self._last_ns = now_ns
        self._steps += 1

    def facts(self) -> dict[str, float | int | None]:
        """Return steps a second of real time, the longest interval (ms), and how many in all came late."""
        passed_s = time.monotonic() - self._began_s
        if passed_s >= WINDOW_S:
            worst_ms = round(self._worst_s * 1e3, 1)
            self._facts = {"rate": round(self._steps / passed_s, 1), "worst_ms": worst_ms, "late": self._late}
            self._began_s, self._steps, self._worst_s = time.monotonic(), 0, 0.0
        return self._facts
