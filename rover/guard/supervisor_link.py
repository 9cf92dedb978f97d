"""The guard's end of the pair of sockets between it and its supervisor: beats go out, echoes come in."""

import contextlib
import socket

from rover.guard.settings import NEEDED, SPARE

BEAT_EVERY_NS = 20_000_000
SUPERVISOR_WITHIN_NS = 1_000_000_000
_FIRST_STEPS = 10_000_000_000


class SupervisorLink:
    """Tells the supervisor that the guard is alive, and the guard whether the supervisor is.

    Attributes:
        fault: why the supervisor cannot be counted on; empty when it can.
    """

    def __init__(self, descriptor: int, now_ns: int) -> None:
        self.fault = ""
        self._socket = socket.socket(fileno=descriptor)
        self._socket.setblocking(False)
        self._beat_ns = 0
        self._heard_ns = now_ns + _FIRST_STEPS

    def descriptor(self) -> int | None:
        """Return what to poll, None once the supervisor is gone."""
        return None if self.is_gone() else self._socket.fileno()

    def is_gone(self) -> bool:
        """Tell whether the supervisor has ended."""
        return self._socket.fileno() < 0

    def work(self, now_ns: int, is_spare: bool) -> None:
        """Beat when that is due, telling whether the guard is needed, and listen to the echo."""
        if self.is_gone():
            return
        try:
            self._listen(now_ns)
            if now_ns - self._beat_ns >= BEAT_EVERY_NS:
                self._beat_ns = now_ns
                self._socket.send(SPARE if is_spare else NEEDED)
        except BlockingIOError:
            pass
        except OSError:
            self.close()
        if not self.is_gone():
            self.fault = "the supervisor does not answer" if now_ns - self._heard_ns > SUPERVISOR_WITHIN_NS else ""

    def _listen(self, now_ns: int) -> None:
        with contextlib.suppress(BlockingIOError):
            if not self._socket.recv(256):
                raise ConnectionResetError
            self._heard_ns = now_ns

    def close(self) -> None:
        """Let go; the supervisor counts as gone."""
        self._socket.close()
        self.fault = "the supervisor has ended"
