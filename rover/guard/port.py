"""The serial port as the runtime sees it while the guard owns it: lines come in by the guard, none go out."""

import logging
import threading
import time
from collections.abc import Mapping
from pathlib import Path

from rover.guard.channel import GuardChannel
from rover.guard.protocol import Ask, Received
from rover.link.port import Compose, OnLine, PortCounts, PortError
from rover.link.sentences import Damage, Framer

HELLO_EVERY_NS = 500_000_000
_PATIENCE_S = 0.05
_log = logging.getLogger(__name__)


class GuardPort:
    """A `rover.link.port.Port` that is fed with the bytes the guard received, and the times at which it did.

    Any thread may call its methods; subscribers are called in the port's own thread. In its counts ``lost`` tells
    how often bytes went missing on the way from the guard, because this process did not take them in time.

    Raises:
        GuardError: there is no guard in the folder.
    """

    def __init__(self, folder: Path) -> None:
        self._framer = Framer()
        self._subscribers: tuple[OnLine, ...] = ()
        self._tally = PortCounts()
        self._channel = GuardChannel(folder)
        self._closing = threading.Event()
        self._thread = threading.Thread(target=self._run, name="guard port", daemon=True)
        self._thread.start()

    @property
    def counts(self) -> PortCounts:
        """What the port has done so far."""
        return self._tally

    @property
    def damage(self) -> Mapping[Damage, int]:
        """What the port had to throw away."""
        return dict(self._framer.damage)

    def subscribe(self, on_line: OnLine) -> None:
        """Call ``on_line`` for every line from now on, in the port's thread."""
        self._subscribers += (on_line,)

    def write(self, slot: str, compose: Compose) -> None:
        """Refuse: commands go to the guard, which alone writes to the line.

        Raises:
            PortError: always.
        """
        raise PortError(
            f"'{slot}' cannot be written here: the motor guard owns the port; use the drivers of rover.guard"
        )

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
            if self._channel.wait(_PATIENCE_S):
                self._take()

    def _take(self) -> None:
        for value in self._channel.receive():
            if isinstance(value, Received):
                self._hand_over(value)

    def _hand_over(self, received: Received) -> None:
        lines = self._framer.feed(received.data)
        self._count(bytes_in=len(received.data), lines=len(lines), lost=int(received.lost > 0))
        for line in lines:
            for on_line in self._subscribers:
                try:
                    on_line(line, received.received_ns)
                except Exception:
                    _log.exception("a subscriber failed on %r", line)
                    self._count(subscriber_errors=1)

    def _count(self, **more: int) -> None:
        self._tally = self._tally._replace(**{name: getattr(self._tally, name) + n for name, n in more.items()})
