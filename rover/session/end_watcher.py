"""Ends a runtime that a signal could not: a process of its own, which `hard_end` starts as a file by itself.

Code of a person's own may loop for ever, in Python or in C. In C it holds the interpreter's lock, so that no line of
Python runs any more, no handler of a signal either. But the C part of the handling still writes the signal's number
to a pipe (`signal.set_wakeup_fd`), which comes in here on descriptor 0.
"""

import os
import select
import signal
import sys
import termios
import time

ASKED_TO_END = (signal.SIGHUP, signal.SIGINT, signal.SIGTERM)
CLOSING = 0
"""Comes in when the runtime's loop has ended and it is about to close what it opened."""
LOOP_ENDS_WITHIN_S = 5.0
CLOSED_WITHIN_S = 20.0
LAST_WORDS_WITHIN_S = 2.0
DIES_WITHIN_S = 1.0


class Watched:
    """The process that started this one."""

    def __init__(self, process: int) -> None:
        self._handle = os.pidfd_open(process)
        self._is_closing = False

    def next_signal(self) -> int:
        """Wait for a signal that asks to end, and return it; 0: the process has ended, or is watched no more."""
        while True:
            for number in self._heard(None):
                if number in ASKED_TO_END:
                    return number

    def wait(self, seconds: float, if_closing: float = 0.0) -> None:
        """Give it a time to end in, which ends this program too; a longer one from when it closes what it opened."""
        began = time.monotonic()
        while (left := began + (max(seconds, if_closing) if self._is_closing else seconds) - time.monotonic()) > 0:
            self._heard(left)

    def _heard(self, seconds: float | None) -> bytes:
        """Return what comes in within a time; ends this program together with the one that is watched."""
        ready, _, _ = select.select([0, self._handle], [], [], seconds)
        if self._handle in ready:
            sys.exit(0)
        heard = os.read(0, 64) if ready else b"\xff"
        if not heard:
            sys.exit(0)
        self._is_closing = self._is_closing or CLOSING in heard
        return heard

    def send(self, number: int) -> None:
        """Send it a signal."""
        signal.pidfd_send_signal(self._handle, number)


def main() -> None:
    """Watch the parent, number given; escalate until it is gone."""
    for number in ASKED_TO_END:
        signal.signal(number, signal.SIG_IGN)
    terminal = termios.tcgetattr(2) if os.isatty(2) else None  # before single keys are read from it
    watched = Watched(int(sys.argv[1]))
    asked = watched.next_signal()
    watched.wait(LOOP_ENDS_WITHIN_S, CLOSED_WITHIN_S)
    os.write(1, bytes([asked]))  # a thread of the runtime closes the record and ends it, if Python still runs there
    watched.wait(LAST_WORDS_WITHIN_S)
    name = signal.Signals(asked).name
    print(
        f"rover did not end at {name}: code that it called, a driver or an activity, does not return, and lets no "
        "Python run; ended by force, the record up to the last commit",
        file=sys.stderr,
        flush=True,
    )
    if terminal is not None:
        termios.tcsetattr(2, termios.TCSANOW, terminal)
    watched.send(asked)  # this time the kernel's default: see `interruption.handle`
    watched.wait(DIES_WITHIN_S)
    watched.send(signal.SIGKILL)


if __name__ == "__main__":
    main()
