"""Messages between the runtime and the page's process, through a pair of sockets that keeps each message whole.

Sending never waits: what is fleeting is dropped when there is no room, the rest is kept for the next time, up to a
number. A message is a text in JSON, or a picture as JPEG, which begins otherwise.
"""

import contextlib
import socket
from collections import deque

MOST_KEPT = 500
"""So many messages wait for room; then the oldest go."""
MOST_BYTES = 1 << 20


class Channel:
    """One end. One thread.

    Attributes:
        is_closed: the other end is gone.
    """

    def __init__(self, end: socket.socket) -> None:
        end.setblocking(False)
        self.is_closed = False
        self._socket = end
        self._kept: deque[bytes] = deque(maxlen=MOST_KEPT)

    @property
    def descriptor(self) -> int:
        """What to poll."""
        return self._socket.fileno()

    def send(self, message: bytes) -> None:
        """Send a message, or keep it until there is room."""
        self._kept.append(message)
        self._send_kept()

    def send_or_drop(self, message: bytes) -> None:
        """Send a message if there is room now."""
        self._send_kept()
        if not self._kept:
            self._try(message)

    def _send_kept(self) -> None:
        while self._kept and self._try(self._kept[0]):
            self._kept.popleft()

    def _try(self, message: bytes) -> bool:
        """Send a message; False: there is no room. One that nobody can take any more counts as sent."""
        try:
            self._socket.send(message)
        except BlockingIOError:
            return False
        except OSError as error:
            self.is_closed = self.is_closed or isinstance(error, ConnectionError)
        return True

    def receive(self) -> list[bytes]:
        """Return what has come in, oldest first."""
        taken: list[bytes] = []
        with contextlib.suppress(BlockingIOError):
            while message := self._receive_one():
                taken.append(message)
            self.is_closed = True
        return taken

    def _receive_one(self) -> bytes:
        try:
            return self._socket.recv(MOST_BYTES)
        except ConnectionError:
            return b""

    def close(self) -> None:
        """Close this end; what was sent is still received at the other one."""
        self._socket.close()


def pair() -> tuple[Channel, socket.socket]:
    """Return the runtime's end, and the socket of the other one."""
    here, there = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
    return Channel(here), there
