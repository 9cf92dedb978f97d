"""Notices by a program of the person's own: it gets them on its standard input, and no shell has a part in it."""

import os
import signal
import subprocess
from collections.abc import Sequence
from contextlib import suppress
from email.message import EmailMessage
from tempfile import TemporaryFile

from rover.errors import one_line
from rover.notices.account import PASSWORD
from rover.notices.way import NotTakenError, UnreachableError

WITHIN_S = 60.0
SAID_AT_MOST = 2000
_HEAD = ("Subject", "Date", "Message-ID")


def run_program(command: Sequence[str], message: EmailMessage, within_s: float = WITHIN_S) -> str:
    """Run a program (and its arguments) with a message on its standard input, and return what came of it.

    It gets subject, date and Message-ID, each as a line ``Name: value``, an empty line, and the text, in UTF-8. It has
    taken the message if it ends with 0.

    Raises:
        NotTakenError: it ended with something else, or not in time.
        UnreachableError: it cannot be started.
    """
    text = message.get_body(("plain",))
    given = (
        "".join(f"{name}: {message[name]}\n" for name in _HEAD) + "\n" + ("" if text is None else text.get_content())
    )
    environment = {name: value for name, value in os.environ.items() if name != PASSWORD}
    with TemporaryFile() as errors:  # not a pipe: something that it leaves behind could hold that open for ever
        try:
            process = subprocess.Popen(
                list(command),
                stdin=subprocess.PIPE,
                stdout=subprocess.DEVNULL,
                stderr=errors,
                env=environment,
                start_new_session=True,
            )
        except OSError as error:
            raise UnreachableError(f"{command[0]}: cannot be started: {error.strerror}") from None
        try:
            process.communicate(given.encode(), within_s)
        except subprocess.TimeoutExpired:
            _end(process)
            raise NotTakenError(f"{command[0]} did not end within {within_s:g} s, and was ended") from None
        errors.seek(0)
        said = errors.read(SAID_AT_MOST).decode("utf-8", "replace")
    if process.returncode:
        raise NotTakenError(one_line(f"{command[0]} ended with {process.returncode}: {said}"))
    return f"{command[0]} ended with 0"


def _end(process: "subprocess.Popen[bytes]") -> None:
    with suppress(ProcessLookupError):
        os.killpg(process.pid, signal.SIGKILL)
    process.wait()
    if process.stdin is not None:
        with suppress(OSError):
            process.stdin.close()
