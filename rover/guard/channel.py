"""A client's end of the guard's socket, and what page and terminal need of it: to stop, from any process."""

import contextlib
import itertools
import os
import secrets
import select
import socket
import time
from collections.abc import Callable
from pathlib import Path

from rover.errors import UserError
from rover.guard.protocol import LONGEST, Ask, Datagram, DatagramError, Request, State, decode, encode
from rover.guard.settings import SOCKET_NAME

ANSWER_WITHIN_S = 0.5
_U32 = 0xFFFF_FFFF
_numbers = itertools.count(1)


class GuardError(UserError, OSError):
    """The guard cannot be had; the message is one line that says why and what to do."""


def default_folder() -> Path:
    """Return where the guard of this user has its sockets."""
    runtime = Path(f"/run/user/{os.getuid()}")
    return runtime / "rover-guard" if runtime.is_dir() else Path(f"/tmp/rover-guard-{os.getuid()}")


class GuardChannel:
    """A client's socket: sends to the guard and takes what it says, without waiting.

    Attributes:
        session: number of this client.
        unsent: datagrams for which the guard had no room, or was not there.
    """

    def __init__(self, folder: Path) -> None:
        self.session = secrets.randbelow(_U32) + 1
        self.unsent = 0
        self._guard = str(folder / SOCKET_NAME)
        self._own = folder / f"client-{os.getpid()}-{next(_numbers)}"
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._socket.setblocking(False)
        try:
            self._own.unlink(missing_ok=True)
            self._socket.bind(str(self._own))
        except OSError as error:
            self._socket.close()
            raise GuardError(
                f"no motor guard in {folder} ({error.strerror}); is the robot's runtime started?"
            ) from None

    def send(self, value: Datagram) -> bool:
        """Send a datagram; False: the guard is not there, or has no room."""
        try:
            self._socket.sendto(encode(value), self._guard)
        except OSError:
            self.unsent += 1
            return False
        return True

    def ask(self, ask: Ask, cause: str = "") -> bool:
        """Send a request; False: the guard is not there, or has no room."""
        return self.send(Request(self.session, ask, cause))

    def receive(self) -> list[Datagram]:
        """Return what has come in, oldest first."""
        taken: list[Datagram] = []
        with contextlib.suppress(BlockingIOError):
            while True:
                datagram = self._socket.recv(LONGEST + 1)
                with contextlib.suppress(DatagramError):
                    taken.append(decode(datagram))
        return taken

    def wait(self, seconds: float) -> bool:
        """Wait until something has come in; False: nothing did."""
        return bool(select.select([self._socket], [], [], seconds)[0])

    def close(self) -> None:
        """Say goodbye; a second call does nothing."""
        if self._socket.fileno() >= 0:
            self.ask(Ask.GOODBYE)
            self._socket.close()
            self._own.unlink(missing_ok=True)


def state_of(folder: Path) -> State:
    """Return how the guard stands.

    Raises:
        GuardError: it does not answer.
    """
    return _asked(folder, Ask.HELLO, "", lambda state: True)


def stop_now(folder: Path, cause: str = "stopped by an operator") -> State:
    """Stop the robot, from any process of this user: page, terminal or script. Returns once the guard says so.

    Raises:
        GuardError: the guard does not answer; use the hard-wired stop.
    """
    return _asked(folder, Ask.STOP, cause, lambda state: not state.phase)


def _asked(folder: Path, ask: Ask, cause: str, is_done: Callable[[State], bool]) -> State:
    channel = GuardChannel(folder)
    try:
        end_ns = time.monotonic_ns() + int(ANSWER_WITHIN_S * 1e9)
        is_sent = channel.ask(ask, cause)
        while (left_ns := end_ns - time.monotonic_ns()) > 0:
            is_sent = is_sent or channel.ask(ask, cause)
            channel.wait(min(left_ns / 1e9, 0.05))
            for value in channel.receive():
                if isinstance(value, State) and is_done(value):
                    return value
    finally:
        channel.close()
    raise GuardError(f"the motor guard in {folder} does not answer; use the hard-wired stop, then look at its log")
