"""An end for sure: some seconds after a signal the process is gone, also when code that it called never returns.

The wheels need nothing of it: the motor guard has them at zero a quarter of a second after the last command.
"""

import contextlib
import os
import signal
import subprocess
import sys
import termios
import threading
import traceback
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from rover.session import end_watcher
from rover.session.interruption import exit_code_of, handle

LastWords = Callable[[str], None]
"""Takes why and where it ended, and closes what must be closed."""
_WORDS_WITHIN_S = 1.5
_last_words: list[LastWords] = []
_in_force: list["HardEnd"] = []


class HardEnd:
    """While it lasts, SIGINT, SIGTERM and SIGHUP end this process, whatever its threads are doing. Main thread only.

    Five seconds are allowed for the loop to end, and twenty from the signal on for closing in order. Then the
    `last_words` are said and the process exits with 128 and the signal's number, if any Python can run here still;
    else it dies of the signal, which a shell shows as the same number.
    """

    def __init__(self) -> None:
        self._before: dict[int, Any] = {}
        self._terminal = termios.tcgetattr(0) if os.isatty(0) else None

    def __enter__(self) -> "HardEnd":
        """Start the watcher."""
        heard, self._told = os.pipe()
        os.set_blocking(self._told, False)
        self._watcher = subprocess.Popen(
            [sys.executable, "-I", "-S", end_watcher.__file__, str(os.getpid())],
            stdin=heard,
            stdout=subprocess.PIPE,
            start_new_session=True,
        )
        os.close(heard)
        self._wakeup_before = signal.set_wakeup_fd(self._told, warn_on_full_buffer=False)
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            handler = signal.getsignal(number)
            if callable(handler):
                self._before[number] = handle(number, handler)
        threading.Thread(target=self._wait_for_word, name="hard end", daemon=True).start()
        _in_force.append(self)
        return self

    def __exit__(self, *_raised: object) -> None:
        """End the watcher."""
        _in_force.remove(self)
        for number, handler in self._before.items():
            signal.signal(number, handler)
        signal.set_wakeup_fd(self._wakeup_before)
        os.close(self._told)
        self._watcher.wait()

    def note_closing(self) -> None:
        """Have the watcher allow the time that closing in order may take."""
        with contextlib.suppress(OSError):
            os.write(self._told, bytes([end_watcher.CLOSING]))

    def _wait_for_word(self) -> None:
        assert self._watcher.stdout is not None
        with self._watcher.stdout as pipe:
            word = pipe.read(1)
        if word:
            if self._terminal is not None:
                termios.tcsetattr(0, termios.TCSANOW, self._terminal)
            _end_now(word[0])


def note_closing() -> None:
    """Say that the loop has ended: closing in order may take its time, with a slow disk or a guard that retires."""
    for one in _in_force:
        one.note_closing()


@contextlib.contextmanager
def last_words(say: LastWords) -> Iterator[None]:
    """While it lasts, have something closed before a hard end; it is called in a thread of its own, with 1.5 s."""
    _last_words.append(say)
    try:
        yield
    finally:
        _last_words.remove(say)


def _end_now(number: int) -> None:
    stack = traceback.extract_stack(sys._current_frames()[threading.main_thread().ident or 0])
    at = stack[-1]
    why = (
        f"did not end at {signal.Signals(number).name}: {at.name}() in {Path(at.filename).name}, line {at.lineno}, "
        "does not return"
    )
    print(f"rover {why}; ended by force", file=sys.stderr, flush=True)
    whole = f"the program {why}:\n{''.join(stack.format())}"
    words = threading.Thread(target=lambda: [say(whole) for say in reversed(_last_words)], daemon=True)
    words.start()
    words.join(_WORDS_WITHIN_S)
    os._exit(exit_code_of(number))
