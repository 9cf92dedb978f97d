"""What the guard is commanded with: its socket, the runtime's client, and a stop from any process."""

import contextlib
import itertools
import os
import secrets
import select
import socket
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from rover.devices.readings import DriveCommand
from rover.errors import UserError
from rover.guard.protocol import LONGEST, Answer, Ask, Command, Datagram, DatagramError, Request, State, decode, encode
from rover.guard.settings import SOCKET_NAME

if TYPE_CHECKING:
    # Who only stops has no use for the guard's own output.
    from rover.guard.in_process import GuardThread

SERVICE_FOLDER = "/run/rover"
"""Made by the service (`tools/deploy/rover.service`) for its user."""
ANSWER_WITHIN_S = 0.5
_LAST_WORD_NS = 250_000_000
_U32 = 0xFFFF_FFFF
_numbers = itertools.count(1)


class GuardError(UserError, OSError):
    """The guard cannot be had; the message is one line that says why and what to do."""


def default_folder() -> Path:
    """Return where the guard of this user has its sockets.

    Under a service manager that is the service's own folder. The same user finds it there from a terminal too, so that
    service and terminal do not hold the robot both.
    """
    by_service = os.environ.get("RUNTIME_DIRECTORY", "").partition(":")[0] or SERVICE_FOLDER
    for runtime, name in ((by_service, "guard"), (f"/run/user/{os.getuid()}", "rover-guard")):
        with contextlib.suppress(OSError):  # not there, or closed to this user
            if os.stat(runtime).st_uid == os.getuid() and os.access(runtime, os.W_OK | os.X_OK):
                return Path(runtime, name)
    return Path(f"/tmp/rover-guard-{os.getuid()}")


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


class GuardClient(GuardChannel):
    """The runtime's hold on the guard. One thread; nothing waits.

    Each request is carried out or refused by the guard; `poll` tells, by the next `State`.

    Attributes:
        state: the guard's last word on itself; None before the first.
        answer: what became of the last command that was answered.

    Raises:
        GuardError: there is no such folder.
    """

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        self.now_ns = time.monotonic_ns
        self.state: State | None = None
        self.answer: Answer | None = None
        self.hello()

    def command(self, drive: DriveCommand, pulse_us: int | None = None) -> bool:
        """Send duties, and a servo pulse (us; 0: limp, None: as it was); False: the guard cannot be reached.

        Raises:
            ValueError: a number does not fit in a datagram.
        """
        stamp_ns = self.now_ns()
        return self.send(
            Command(self.session, drive.sequence & _U32, stamp_ns, drive.expires_ns, drive.left, drive.right, pulse_us)
        )

    def poll(self) -> Sequence[Answer | State]:
        """Return the answers and states that came in, oldest first."""
        news = [value for value in self.receive() if isinstance(value, Answer | State)]
        for value in news:
            if isinstance(value, State):
                self.state = value
            elif value.session == self.session:
                self.answer = value
        return news

    def hello(self) -> bool:
        """Say that this client is there; due once a second while it does not command."""
        return self.ask(Ask.HELLO)

    def stop(self, cause: str) -> bool:
        """Stop; it latches."""
        return self.ask(Ask.STOP, cause)

    def reset(self) -> bool:
        """Reset, which never starts motion, by a control pressed and released at once, such as a typed word."""
        return self.ask(Ask.PRESS_RESET) and self.ask(Ask.RELEASE_RESET)

    def resume(self) -> bool:
        """Permit motion again after a reset."""
        return self.ask(Ask.RESUME)

    def enable(self) -> bool:
        """Ask that this client's commands count; only at a person's deliberate word."""
        return self.ask(Ask.ENABLE)


class Wheels:
    """The drive: its commands go to the guard, or in a wired rehearsal to the guard's output in a thread.

    The jaws' pulse goes along with each command, so apply the jaws' command first where both change.

    Args:
        guard: what takes the commands.
        write_zero: what is done when it does not take one: guard and supervisor may both be dead, and pins keep a duty.
    """

    def __init__(self, guard: "GuardClient | GuardThread", write_zero: Callable[[], None] = lambda: None) -> None:
        self._guard, self._write_zero = guard, write_zero
        self._sequence = 0
        self._pulse: tuple[int, int] | None = None

    def carry(self, pulse_us: int, expires_ns: int) -> None:
        """Let the next commands take a servo pulse (us; 0: limp) along, until it expires."""
        self._pulse = (pulse_us, expires_ns)

    def apply(self, command: DriveCommand, now_ns: int) -> None:
        """Send a command; the guard refuses what has expired by then."""
        self._sequence = command.sequence
        is_fresh = self._pulse is not None and now_ns < self._pulse[1]
        if not self._guard.command(command, self._pulse[0] if self._pulse is not None and is_fresh else None):
            self._write_zero()

    def close(self) -> None:
        """Tell the wheels to stand still."""
        self._guard.command(DriveCommand(0.0, 0.0, self._sequence + 1, self._guard.now_ns() + _LAST_WORD_NS))


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
