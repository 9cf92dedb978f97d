"""The process that sends, as a run starts it and speaks to it."""

import os
import subprocess
import sys
from contextlib import suppress
from pathlib import Path


class SenderProcess:
    """A process that sends what waits in an outbox, for as long as anything does or its run goes on.

    Args:
        outbox: the file.
        errand: the errand file, which says how notices are sent.
    """

    def __init__(self, outbox: Path, errand: Path) -> None:
        self._arguments = [str(outbox.absolute()), str(errand.absolute())]
        self._process = self._started()

    def _started(self) -> "subprocess.Popen[bytes] | None":
        try:
            return subprocess.Popen(
                [sys.executable, "-P", "-m", "rover.notices", *self._arguments],
                stdin=subprocess.PIPE,
                stdout=subprocess.DEVNULL,  # what it has to say is in the outbox
                stderr=subprocess.DEVNULL,
                start_new_session=True,
                env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
                bufsize=0,
            )
        except OSError:  # no room for it now; the next notice tries again, and no run fails for it
            return None

    def nudge(self) -> None:
        """Have it look into the outbox; start another one if it is gone."""
        if self._process is None or self._process.poll() is not None:
            self.let_go()
            self._process = self._started()
        if self._process is not None and self._process.stdin is not None:
            with suppress(OSError):
                self._process.stdin.write(b"\n")

    def let_go(self) -> None:
        """Tell it that the run is over; it goes on until nothing waits."""
        if self._process is not None and self._process.stdin is not None:
            with suppress(OSError):
                self._process.stdin.close()
