"""A serial port that takes messages without waiting, the newest of each kind first, and is opened again by itself."""

import contextlib
import fcntl
import os
import select
import termios
from collections.abc import Callable

import serial

from rover.link.port import PortError, open_serial

Compose = Callable[[int], bytes | None]
"""Returns the bytes to write at a time (ns), None if they have become pointless."""

MOTORS, SERVO = "motors", "servo"
_BY_URGENCY = (MOTORS, SERVO)
RETRY_NS = 250_000_000
_QUEUED_MOST = 128
_CHUNK = 1024


class SerialLine:
    """A port that is opened again by itself, and messages that wait for it.

    A message is composed as it is written, so that the time it has left is right; a newer one of its kind displaces it
    before that. What waits while the line is away is dropped.

    Attributes:
        trouble: why it is not open.
    """

    def __init__(self, path: str, baud: int, now_ns: Callable[[], int]) -> None:
        self.path = path
        self.trouble = f"the serial line {path} is not open yet"
        self._baud, self._now_ns = baud, now_ns
        self._port: serial.Serial | None = None
        self._retry_ns = 0
        self._waiting: dict[str, Compose] = {}
        self._unsent = b""

    @property
    def is_open(self) -> bool:
        """The port is there."""
        return self._port is not None

    def descriptor(self) -> int | None:
        """Return the port's descriptor while it is open."""
        return None if self._port is None else self._port.fileno()

    def is_pending(self) -> bool:
        """Tell whether something waits to be written."""
        return self._port is not None and bool(self._unsent or self._waiting)

    def is_backed_up(self) -> bool:
        """Tell whether something waits here or in the kernel's queue."""
        try:
            return self._port is not None and (self.is_pending() or self._port.out_waiting > 0)
        except (OSError, termios.error):
            return False

    def open(self, now_ns: int) -> bool:
        """Open the port if that is due; tell whether it is open now."""
        if now_ns < self._retry_ns:
            return False
        self._retry_ns = now_ns + RETRY_NS
        try:
            self._port = open_serial(self.path, self._baud)
        except PortError as error:
            self.trouble = str(error)
        return self.is_open

    def read(self) -> bytes:
        """Return what came in; a line that is readable and yet has nothing to say has been hung up."""
        if self._port is None or not select.select([self._port], [], [], 0.0)[0]:
            return b""
        try:
            chunk = os.read(self._port.fileno(), _CHUNK)
        except BlockingIOError:
            return b""
        except OSError:
            chunk = b""
        if not chunk:
            self._lose()
        return chunk

    def put(self, kind: str, compose: Compose) -> None:
        """Write a message as soon as the line takes it, instead of one of its kind that still waits."""
        self._waiting[kind] = compose
        self.flush()

    def flush(self) -> None:
        """Write the rest of a message begun, then the waiting ones, as long as the line is not backed up."""
        port = self._port
        if port is None:
            self._waiting.clear()
            return
        try:
            while port.out_waiting < _QUEUED_MOST and (self._unsent or self._compose_next()):
                self._unsent = self._unsent[os.write(port.fileno(), self._unsent) :]
        except BlockingIOError:
            return
        except (OSError, termios.error):
            self._lose()

    def _compose_next(self) -> bool:
        while self._waiting and not self._unsent:
            kind = next(kind for kind in _BY_URGENCY if kind in self._waiting)
            self._unsent = self._waiting.pop(kind)(self._now_ns()) or b""
        return bool(self._unsent)

    def discard(self) -> None:
        """Throw away what is half written or in the kernel's queue; a sentence cut short ends at the next ``$``."""
        self._unsent = b""
        if self._port is not None:
            with contextlib.suppress(OSError, termios.error):
                termios.tcflush(self._port.fileno(), termios.TCOFLUSH)

    def _lose(self) -> None:
        self.close(f"the serial line {self.path} is gone; plug it in again")

    def close(self, why: str) -> None:
        """Let go of the port, and drop what waits."""
        port, self._port, self.trouble = self._port, None, why
        self._unsent = b""
        self._waiting.clear()
        if port is not None:
            with contextlib.suppress(OSError, termios.error):
                # The supervisor holds the same opening of the port, and with it the lock.
                fcntl.flock(port.fileno(), fcntl.LOCK_UN)
            with contextlib.suppress(OSError, termios.error):
                port.close()
