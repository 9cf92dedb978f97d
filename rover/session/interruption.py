"""A request to end, by a signal: noted, so that the loop can end in order."""

import ctypes
import signal
from collections.abc import Callable
from types import FrameType
from typing import Any

SIGNALS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)


def exit_code_of(number: int) -> int:
    """Return the exit code of a program that a signal ended, as a shell gives it too."""
    return 128 + number


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
        self._before = {number: handle(number, self._note) for number in SIGNALS}
        return self

    def __exit__(self, *_raised: object) -> None:
        """Give them back."""
        for number, handler in self._before.items():
            signal.signal(number, handler)

    @property
    def exit_code(self) -> int | None:
        """The exit code that says what came, None if nothing did."""
        return None if self.number is None else exit_code_of(self.number)

    def _note(self, number: int, frame: FrameType | None) -> None:
        if self.number is not None:
            raise KeyboardInterrupt
        self.number = number


def handle(number: int, handler: Callable[[int, FrameType | None], Any]) -> Any:
    """Handle a signal, and return what handled it before.

    Between its coming and the handler's turn the signal has the kernel's default effect: where no line of Python runs
    any more, as in a loop in C that holds the interpreter's lock, a second one ends the process.
    """

    def arm() -> Any:
        before = signal.signal(number, run)
        _have_next_one_only(number)
        return before

    def run(number: int, frame: FrameType | None) -> None:
        arm()
        handler(number, frame)

    return arm()


def _have_next_one_only(number: int) -> None:
    """Set the handler that has just been set for one time only, by sysv_signal(3) where there is such a call.

    The module `signal` has no way to say so.
    """
    library = ctypes.CDLL(None)
    if not hasattr(library, "sysv_signal"):
        return
    library.signal.restype = ctypes.c_void_p
    library.signal.argtypes = library.sysv_signal.argtypes = (ctypes.c_int, ctypes.c_void_p)
    library.sysv_signal(number, library.signal(number, int(signal.SIG_DFL)))
