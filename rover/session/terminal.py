"""The operator at a terminal: a typed word to permit motion, then single keys. What they lead to is the guard's."""

import contextlib
import os
import select
import termios
import tty
from typing import Any

STOP_KEYS = "s \n\r"
"""Whatever is driven, and wherever: the letter, space and Enter."""
KEYS = dict.fromkeys(STOP_KEYS, "stop") | {"h": "hold", "r": "reset", "g": "go on", "y": "yes", "n": "no"}
HELP = "keys: s, space or Enter stop, h hold, r reset, g go on (after a stop only after r), y yes, n no; Ctrl-C ends it"
STALE_NS = 100_000_000
"""After standing still for so long, what the terminal has kept was not typed just now: only a stop counts then."""


def words(letters: str) -> list[str]:
    """Return what the letters mean; others mean nothing."""
    return [word for letter in letters if (word := KEYS.get(letter.lower()))]


class Terminal:
    """A terminal that is read without waiting: whole lines first, single keys after `begin_keys`. One thread.

    Attributes:
        is_there: it is a terminal with a person at it, not a file, a pipe or nothing.
        is_lost: keys came from it, and it has gone away.
    """

    def __init__(self, descriptor: int = 0) -> None:
        self._descriptor = descriptor
        self._before: Any = None
        self.is_there = os.isatty(descriptor)
        self.is_lost = False

    def forget(self) -> None:
        """Throw away what has been typed so far: nobody meant it as an answer to what is asked next."""
        if self.is_there:
            with contextlib.suppress(OSError, termios.error):
                termios.tcflush(self._descriptor, termios.TCIFLUSH)

    def begin_keys(self) -> None:
        """Take keys as they are pressed from now on, and do not show them."""
        if self._is_ours():
            self._before = termios.tcgetattr(self._descriptor)
            tty.setcbreak(self._descriptor, termios.TCSANOW)

    def read(self) -> str:
        """Return what has been typed; before `begin_keys` only once Enter was pressed."""
        if not self._is_ours() or not select.select([self._descriptor], [], [], 0.0)[0]:
            return ""
        try:
            typed = os.read(self._descriptor, 1024)
        except OSError:
            typed = b""
        self.is_there = bool(typed)
        self.is_lost = not typed and self._before is not None
        return typed.decode(errors="ignore")

    def close(self) -> None:
        """Leave the terminal as it was; a second call does nothing."""
        before, self._before = self._before, None
        if before is not None and self._is_ours():
            with contextlib.suppress(OSError, termios.error):
                termios.tcsetattr(self._descriptor, termios.TCSANOW, before)

    def _is_ours(self) -> bool:
        """Tell whether this process may use it now: reading from the background would suspend the whole robot."""
        try:
            return self.is_there and os.tcgetpgrp(self._descriptor) == os.getpgrp()
        except OSError:
            return self.is_there  # not the terminal of this session, so there is no background to be in
