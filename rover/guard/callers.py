"""The guard's channel: one datagram socket in a private folder, and who has knocked there lately."""

import contextlib
import os
import select
import socket
from collections import deque
from dataclasses import dataclass, field
from pathlib import Path
from typing import NamedTuple

from rover.guard.protocol import LONGEST, MOST_BYTES, Ask, Datagram, DatagramError, Received, Request, decode, encode

FORGET_NS = 2_000_000_000
_KEPT_CHUNKS = 256
_AT_ONCE = 256


class Incoming(NamedTuple):
    """A datagram and the address that it came from."""

    address: str
    value: Datagram


@dataclass
class _Caller:
    heard_ns: int
    listens: bool = False
    waiting: deque[Received] = field(default_factory=deque)


class Callers:
    """Receives from any caller; sends without waiting, and what a caller has no room for waits or is left out."""

    def __init__(self, path: Path) -> None:
        path.unlink(missing_ok=True)
        self._path = path
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._socket.setblocking(False)
        self._socket.bind(str(path))
        self._poll = select.poll()
        self._poll.register(self._socket, select.POLLIN)
        self._known: dict[str, _Caller] = {}

    def descriptor(self) -> int:
        """Return what to poll."""
        return self._socket.fileno()

    def is_idle(self) -> bool:
        """Tell whether nobody is connected."""
        return not self._known

    def receive(self, now_ns: int) -> list[Incoming]:
        """Return what came in, oldest first."""
        incoming: list[Incoming] = []
        for _ in range(_AT_ONCE):
            # Asked first: a call that fails costs several times as much.
            if not self._poll.poll(0):
                break
            datagram, address = self._socket.recvfrom(LONGEST + 1)
            self._take(datagram, address, now_ns, incoming)
        return incoming

    def forget(self, now_ns: int) -> None:
        """Forget who was silent for 2 s."""
        for address in [address for address, caller in self._known.items() if now_ns - caller.heard_ns > FORGET_NS]:
            del self._known[address]

    def _take(self, datagram: bytes, address: str | None, now_ns: int, incoming: list[Incoming]) -> None:
        try:
            value = decode(datagram)
        except DatagramError:
            return
        incoming.append(Incoming(address or "", value))
        if address:
            self._remember(address, value, now_ns)

    def _remember(self, address: str, value: Datagram, now_ns: int) -> None:
        ask = value.ask if isinstance(value, Request) else None
        if ask is Ask.GOODBYE:
            self._known.pop(address, None)
            return
        caller = self._known.setdefault(address, _Caller(now_ns))
        caller.heard_ns = now_ns
        caller.listens |= ask is Ask.LISTEN

    def send(self, address: str, value: Datagram) -> bool:
        """Send to one caller; False: it has no room at present, or is gone and forgotten."""
        return self._send(address, encode(value))

    def _send(self, address: str, datagram: bytes) -> bool:
        try:
            self._socket.sendto(datagram, address)
        except BlockingIOError:
            return False
        except OSError:
            self._known.pop(address, None)
            return False
        return True

    def send_all(self, value: Datagram) -> None:
        """Send to every caller that has room."""
        datagram = encode(value)
        for address in list(self._known):
            self._send(address, datagram)

    def pass_on(self, chunk: bytes, received_ns: int) -> None:
        """Hand bytes of the serial line to those who listen, in order; who is full gets them later, or hears of it."""
        for address, caller in list(self._known.items()):
            if caller.listens:
                goes_at_once = not caller.waiting and len(chunk) <= MOST_BYTES
                if not (goes_at_once and self.send(address, Received(received_ns, 0, chunk))):
                    _queue(caller.waiting, chunk, received_ns)
                while caller.waiting and self.send(address, caller.waiting[0]):
                    caller.waiting.popleft()

    def close(self) -> None:
        """Close the channel."""
        self._socket.close()
        with contextlib.suppress(OSError):
            os.unlink(self._path)


def _queue(waiting: deque[Received], chunk: bytes, received_ns: int) -> None:
    """Add bytes to a queue; when it is full the oldest go, and what is then the first tells how many."""
    for start in range(0, len(chunk), MOST_BYTES):
        waiting.append(Received(received_ns, 0, chunk[start : start + MOST_BYTES]))
        if len(waiting) > _KEPT_CHUNKS:
            gone = waiting.popleft()
            waiting[0] = waiting[0]._replace(lost=waiting[0].lost + gone.lost + len(gone.data))
