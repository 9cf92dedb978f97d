"""The serial port as the runtime sees it while the guard owns it: lines come in by the guard, none go out."""

import threading
import time
from pathlib import Path

from rover.guard.client import GuardChannel
from rover.guard.protocol import Ask, Received
from rover.link.port import LinePort

HELLO_EVERY_NS = 500_000_000
_PATIENCE_S = 0.05


class GuardPort(LinePort):
    """A port that is fed with the bytes the guard received, and the times at which it did.

    Any thread may call its methods; subscribers are called in the port's own thread. In its counts ``lost`` tells
    how often bytes went missing on the way from the guard, because this process did not take them in time.

    Raises:
        GuardError: there is no guard in the folder.
    """

    def __init__(self, folder: Path) -> None:
        super().__init__("the guard's port")
        self._channel = GuardChannel(folder)
        self._closing = threading.Event()
        self._thread = threading.Thread(target=self._run, name="guard port", daemon=True)
        self._thread.start()

    def close(self) -> None:
        """Take no more; a second call does nothing."""
        self._closing.set()
        if self._thread is not threading.current_thread():
            self._thread.join()
        self._channel.close()

    def _run(self) -> None:
        hello_ns = 0
        while not self._closing.is_set():
            if time.monotonic_ns() >= hello_ns:
                self._channel.ask(Ask.LISTEN)
                hello_ns = time.monotonic_ns() + HELLO_EVERY_NS
            self._channel.wait(_PATIENCE_S)
            for value in self._channel.receive():
                if isinstance(value, Received):
                    self._count(lost=int(value.lost > 0))
                    self.feed(value.data, value.received_ns)
