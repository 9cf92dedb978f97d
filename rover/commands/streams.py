"""Standard output and error as a command writes to them: what cannot be written ends it with one line, or with none."""

import contextlib
import errno
import os
import sys
from collections.abc import Iterator
from typing import Any

from rover.errors import UserError


class OutputError(UserError):
    """Standard output takes no more; the message says why. It is empty where nobody reads it any more."""

    exit_code = 1


class _Output:
    """Standard output, with errors that say what they are about; one that failed fails from then on."""

    def __init__(self, stream: Any) -> None:
        self._stream = stream
        self._failed: str | None = None

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)

    def write(self, text: str) -> int:
        """Write; see `OutputError`."""
        return 0 if text == "" else int(self._tried(self._stream.write, text))

    def flush(self) -> None:
        """Write what waits; see `OutputError`."""
        self._tried(self._stream.flush)

    def _tried(self, act: Any, *given: Any) -> Any:
        if self._failed is not None:
            raise OutputError(self._failed)
        try:
            return act(*given)
        except OSError as error:
            # What still waits in the stream would be tried again, and complained of, when the interpreter ends.
            _send_nowhere(self._stream)
            is_unread = error.errno == errno.EPIPE
            self._failed = "" if is_unread else f"standard output cannot be written: {error.strerror}"
            raise OutputError(self._failed) from None


class _Messages(_Output):
    """Standard error, where what cannot be said is not said: there is no other place for it."""

    def _tried(self, act: Any, *given: Any) -> Any:
        try:
            return act(*given)
        except OSError:
            _send_nowhere(self._stream)
            return 0


def _send_nowhere(stream: Any) -> None:
    with contextlib.suppress(OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, stream.fileno())
        os.close(nowhere)


@contextlib.contextmanager
def checked_streams() -> Iterator[None]:
    """While it lasts, failures of standard output are `OutputError`, and those of standard error are nothing.

    A stream that was closed from the start stays so: what is written to it goes nowhere.
    """
    before = sys.stdout, sys.stderr
    if sys.stdout is not None:
        sys.stdout = _Output(sys.stdout)
    if sys.stderr is not None:
        sys.stderr = _Messages(sys.stderr)
    try:
        yield
    finally:
        sys.stdout, sys.stderr = before
