"""What the guard is commanded with: its socket, the runtime's client, and a stop from any process."""

import contextlib
import itertools
import os
import secrets
import select
import socket
import time
from collections.abc import Callable, Sequence
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

from rover.devices.readings import DriveCommand
from rover.errors import UserError
from rover.guard.protocol import (
    LONGEST,
    Answer,
    Ask,
    Command,
    Datagram,
    DatagramError,
    Request,
    State,
    decode,
    encode,
)
from rover.guard.settings import SOCKET_NAME, load_settings
from rover.stopping import LATCHED, Phase

if TYPE_CHECKING:
    # Who only stops has no use for the guard's own output.
    from rover.guard.in_process import GuardThread

SERVICE_FOLDER = "/run/rover"
"""Made by the service (`tools/deploy/rover.service`) for its user."""
ANSWER_WITHIN_S = 0.5
_LAST_WORD_NS = 250_000_000
_HEARD_WITHIN_NS = 200_000_000
"""A guard answers each command: one that is silent for so long is dead or hangs, and its supervisor with it."""
_MAY_MOVE_NS, _ZERO_EVERY_NS = 2_000_000_000, 50_000_000
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
            if os.getuid() == 0:  # or a guard of another user could not answer
                os.chown(self._own, folder.stat().st_uid, -1)
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
        self._folder = folder
        self._heard_ns = self._moved_ns = self._zeroed_ns = 0
        self.hello()

    def command(self, drive: DriveCommand, pulse_us: int | None = None) -> bool:
        """Send duties, and a servo pulse (us; 0: limp, None: as it was); False: the guard cannot be reached.

        Raises:
            ValueError: a number does not fit in a datagram.
        """
        stamp_ns = self.now_ns()
        if drive.left or drive.right:
            self._moved_ns = stamp_ns
        head = (self.session, drive.sequence & _U32, stamp_ns, drive.expires_ns)
        is_sent = self.send(Command(*head, drive.left, drive.right, pulse_us))
        if not is_sent:
            self._bring_to_zero(stamp_ns)
        return is_sent

    def poll(self) -> Sequence[Answer | State]:
        """Return the answers and states that came in, oldest first."""
        news = [value for value in self.receive() if isinstance(value, Answer | State)]
        for value in news:
            if isinstance(value, State):
                self.state = value
            elif value.session == self.session:
                self.answer = value
        now_ns = self.now_ns()
        if news:
            self._heard_ns = now_ns
        elif now_ns - self._heard_ns > _HEARD_WITHIN_NS:
            self._bring_to_zero(now_ns)
        return news

    def _bring_to_zero(self, now_ns: int) -> None:
        """Write zero past a guard that is silent or gone while wheels may turn: its supervisor may be gone with it."""
        if now_ns - self._moved_ns < _MAY_MOVE_NS and now_ns - self._zeroed_ns >= _ZERO_EVERY_NS:
            from rover.guard.zero import write_once

            self._zeroed_ns = now_ns
            with contextlib.suppress(OSError, ValueError):
                write_once(load_settings(self._folder))

    def hello(self) -> bool:
        """Say that this client is there; due often while it commands nothing, or its permission lapses."""
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

    def hold(self, cause: str) -> bool:
        """Hold the robot where it is; a resume ends that."""
        return self.ask(Ask.HOLD, cause)

    def go_on(self) -> bool:
        """Permit motion again, at a person's deliberate word: after a hold, a reset, or a lapse of the permission."""
        return self.enable() and self.resume()

    def enable(self) -> bool:
        """Ask that this client's commands count; only at a person's deliberate word."""
        return self.ask(Ask.ENABLE)


class Wheels:
    """The drive: its commands go to the guard, or in a wired rehearsal to the guard's output in a thread.

    The jaws' pulse goes along with each command, so apply the jaws' command first where both change.
    """

    def __init__(self, guard: "GuardClient | GuardThread") -> None:
        self._guard = guard
        self._sequence = 0
        self._pulse: tuple[int, int] | None = None

    def carry(self, pulse_us: int, expires_ns: int) -> None:
        """Let the next commands take a servo pulse (us; 0: limp) along, until it expires."""
        self._pulse = (pulse_us, expires_ns)

    def apply(self, command: DriveCommand, now_ns: int) -> None:
        """Send a command; the guard refuses what has expired by then."""
        self._sequence = command.sequence
        is_fresh = self._pulse is not None and now_ns < self._pulse[1]
        self._guard.command(command, self._pulse[0] if self._pulse is not None and is_fresh else None)

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
    return _asked(folder, Ask.STOP, cause, lambda state: state.phase in LATCHED)


def reset_now(folder: Path) -> State:
    """Press and release the reset, from any process of this user; it never starts motion. Returns how it stands then.

    Raises:
        GuardError: the guard does not answer, or does not reset; the message says why.
    """
    with closing(GuardClient(folder)) as client:
        asked_ns = client.now_ns()
        client.reset()
        while client.now_ns() - asked_ns < ANSWER_WITHIN_S * 1e9:
            client.wait(0.05)
            client.poll()
            state = client.state
            if state is not None and state.now_ns > asked_ns and state.phase is Phase.READY:
                return state
        if client.state is None:
            raise GuardError(_silent(folder))
        raise GuardError(f"not reset: {client.state.note or client.state.cause}")


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
    raise GuardError(_silent(folder))


def _silent(folder: Path) -> str:
    return f"the motor guard in {folder} does not answer; use the hard-wired stop, then look at its log"
