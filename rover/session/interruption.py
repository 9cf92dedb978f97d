"""A request to end, by a signal: noted, so that the loop can end in order."""

import signal
from types import FrameType
from typing import Any

SIGNALS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
INTERRUPTED, TERMINATED = 130, 143


class Interruption:
    """While it lasts, the first SIGINT, SIGTERM or SIGHUP is noted; a second one ends at once.

    Attributes:
        number: the signal that came, None before.
    """

    def __init__(self) -> None:
        self.number: int | None = None
        self._before: dict[int, Any] = {}

    def __enter__(self) -> "Interruption":
        """Take the signals over."""
        self._before = {number: signal.signal(number, self._note) for number in SIGNALS}
        return self

    def __exit__(self, *_raised: object) -> None:
        """Give them back."""
        for number, handler in self._before.items():
            signal.signal(number, handler)

    @property
    def exit_code(self) -> int | None:
        """The exit code that says what came, None if nothing did."""
        if self.number is None:
            return None
        return INTERRUPTED if self.number == signal.SIGINT else TERMINATED

    def _note(self, number: int, frame: FrameType | None) -> None:
        if self.number is not None:
            raise KeyboardInterrupt
        self.number = number
