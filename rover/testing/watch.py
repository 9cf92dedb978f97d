"""Whether calls come back: they are made in one thread, as the robot's loop makes them, while another looks on."""

import time
from collections.abc import Callable
from concurrent.futures import wait
from typing import TypeVar

from rover.devices.meanwhile import in_a_thread

T = TypeVar("T")
_LOOK_EVERY_S = 0.02


class ContractError(AssertionError):
    """A driver does not do what the runtime relies on; the message says what, and why it matters."""


class NothingReportedError(ContractError):
    """It reports nothing: whatever else is to be seen of its reports cannot be."""


class Watch:
    """Times calls."""

    def __init__(self) -> None:
        self._call: tuple[str, float, float] | None = None

    def call(self, what: str, limit_s: float, work: Callable[[], T]) -> tuple[T, float]:
        """Return what is returned, and how long it took (s).

        Args:
            what: is called, for the message.
            limit_s: after so long without an answer it hangs, which `watched` raises.
            work: does the call.
        """
        began_s = time.monotonic()
        self._call = (what, began_s, limit_s)
        try:
            return work(), time.monotonic() - began_s
        finally:
            self._call = None

    def why_hung(self) -> str:
        """Return which call does not come back, '' while all do."""
        call = self._call
        if call is None or time.monotonic() - call[1] <= call[2]:
            return ""
        what, _, limit_s = call
        return f"{what} has not returned after {limit_s:g} s"


def watched(work: Callable[[Watch], T]) -> T:
    """Do something in a thread of its own, and return what it returns.

    Raises:
        ContractError: one of its calls hangs; its thread is left behind.
        Exception: whatever the work raises.
    """
    watch = Watch()
    doing = in_a_thread(lambda: work(watch))
    while not doing.done():
        wait([doing], _LOOK_EVERY_S)
        if why := watch.why_hung():
            raise ContractError(f"{why}; what waits for hardware does so in a thread of the driver's own")
    result: T = doing.result()
    return result
