"""A rehearsal as a person starts it, with its page."""

import os
import re
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).parents[2]


class Served(NamedTuple):
    """A command at work that serves a page.

    Attributes:
        process: of the command.
        url: of the page, without its token.
        token: of the page.
    """

    process: "subprocess.Popen[str]"
    url: str
    token: str

    @property
    def address(self) -> str:
        """What the person at the terminal is told to open."""
        return f"{self.url}#{self.token}"


@contextmanager
def serving(*arguments: str, cwd: Path) -> Iterator[Served]:
    """Run a command of rover with ``--page`` on a port of its own, and end it."""
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    process = subprocess.Popen(
        [sys.executable, "-m", "rover", *arguments, "--page=127.0.0.1:0"],
        cwd=cwd,
        env=environment,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        assert process.stderr is not None
        said = next(line for line in process.stderr if line.startswith("page: "))
        told = re.fullmatch(r"page: (\S+)   \(its token: (.+)\)\n", said)
        assert told is not None, said
        yield Served(process, told[1], Path(told[2]).read_text("ascii").strip())
    finally:
        process.send_signal(signal.SIGINT)
        process.communicate(timeout=30)
