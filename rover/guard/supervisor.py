"""The guard's parent: starts it, watches it, and brings the motors to zero itself when the guard dies or hangs.

Kernel PWM keeps its last duty after the process that set it has died, so on direct pins this is the second way to
zero. The guard beats on a socket; the supervisor echoes each beat, so that each learns of the other's end. A guard
that is silent for `PATIENCE_NS` is killed (SIGKILL), zero is written to the PWM files by `silence`, which needs
nothing of the guard, and the guard is started again, stopped. The supervisor feeds nothing and commands nothing.
"""

import contextlib
import fcntl
import os
import secrets
import select
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

from rover.devices.kernel.pwm import silence
from rover.guard.settings import LOCK_NAME, GuardSettings, load_settings

NEEDED, SPARE = b"n", b"s"
"""What the guard's beat tells its supervisor: somebody needs the guard, or nobody has for a while."""
BEAT_EVERY_NS = 20_000_000
SUPERVISOR_WITHIN_NS = 1_000_000_000
_FIRST_STEPS = 10_000_000_000
PATIENCE_NS = 220_000_000
"""A beat comes each 20 ms; a guard that hangs is noticed within this, which leaves time to stay under 300 ms."""
LENIENCE_NS = 50_000_000
"""The most that is added for a machine that stood still as a whole."""
PATIENCE_ON_LINE_NS = 1_000_000_000
"""Where the co-processor's own deadline is the second way, nothing presses, and a busy machine is no reason to stop."""
FIRST_BEAT_WITHIN_NS = 10_000_000_000
_RESTART_PAUSE_S = 0.2
_END_WITHIN_S = 1.0
_TICK_NS = 20_000_000
_LATE_NS = 5_000_000


class Child:
    """One guard process, from its start until it is reaped.

    Args:
        folder: the guard's.
        patience_ns: after so long a silence it is taken to hang.
        lock: descriptor of the folder's lock.
        numbers: session and restarts, for the guard.

    Attributes:
        is_spare: nobody has been connected to it for a while.
        fate: why it is not well any more; empty while it is.
    """

    def __init__(self, folder: Path, patience_ns: int, lock: int, *numbers: int) -> None:
        self._patience_ns = patience_ns
        self._ours, theirs = socket.socketpair()
        self._ours.setblocking(False)
        # The lock goes along: while the guard lives, no other one can be started in this folder.
        self._process = subprocess.Popen(
            [sys.executable, "-P", "-m", "rover.guard", "guard", *map(str, (folder, theirs.fileno(), *numbers))],
            stdin=subprocess.DEVNULL,
            pass_fds=(theirs.fileno(), lock),
            start_new_session=True,
        )
        theirs.close()
        self._pidfd = os.pidfd_open(self._process.pid)
        self.is_spare = False
        self.fate = ""
        self._due_ns = self._at_the_latest_ns = 0
        self._give(FIRST_BEAT_WITHIN_NS)

    @property
    def pid(self) -> int:
        """Number of the process."""
        return self._process.pid

    def is_well(self) -> bool:
        """Wait for a beat or an end, 20 ms at most; tell whether the guard lives and beats."""
        poll = select.poll()
        poll.register(self._ours, select.POLLIN)
        poll.register(self._pidfd, select.POLLIN)
        asked_ns = time.monotonic_ns()
        left_ns = self._due_ns - asked_ns
        patience_ns = min(max(left_ns, 0), _TICK_NS)
        ready = dict(poll.poll(-(-patience_ns // 1_000_000)))
        if self._pidfd in ready:
            self.fate = "ended"
        elif self._ours.fileno() in ready:
            self._echo()
        elif left_ns <= 0:
            self.fate = f"gave no sign for {self._patience_ns // 1_000_000} ms"
        else:
            self._oversleep(time.monotonic_ns() - asked_ns - patience_ns)
        return not self.fate

    def _oversleep(self, late_ns: int) -> None:
        """Allow the guard what this process overslept: a machine that stood still as a whole is no fault of its."""
        if late_ns > _LATE_NS:
            self._due_ns = min(self._due_ns + late_ns, self._at_the_latest_ns)

    def _echo(self) -> None:
        try:
            beats = self._ours.recv(256)
            self._ours.send(beats)
        except BlockingIOError:
            return
        except OSError:
            beats = b""
        if not beats:
            self.fate = "has hung up"
            return
        self.is_spare = beats.endswith(SPARE)
        self._give(self._patience_ns)

    def _give(self, patience_ns: int) -> None:
        self._due_ns = time.monotonic_ns() + patience_ns
        self._at_the_latest_ns = self._due_ns + LENIENCE_NS

    def kill(self) -> None:
        """End the process at once; after a second the kernel has it in its hands, and waiting on would help nobody."""
        self._process.kill()
        with contextlib.suppress(subprocess.TimeoutExpired):
            self._process.wait(_END_WITHIN_S)

    def end(self) -> None:
        """Ask the guard to end, which brings the wheels to zero; kill it if it does not."""
        self._process.terminate()
        with contextlib.suppress(subprocess.TimeoutExpired):
            self._process.wait(_END_WITHIN_S)
            return
        self.kill()

    def close(self) -> None:
        """Let go of what belongs to the process."""
        os.close(self._pidfd)
        self._ours.close()


def write_zero(settings: GuardSettings) -> None:
    """Bring every PWM channel to zero, whoever holds it; one that fails does not keep the others from it."""
    for root, chip, channel in settings.channels:
        try:
            silence(chip, channel, Path(root))
        except OSError as error:
            print(f"PWM channel {channel} of chip {chip}: cannot be brought to zero ({error})", file=sys.stderr)


class SupervisorLink:
    """The guard's end of the pair of sockets: beats go out, and echoes tell whether the supervisor is alive.

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


class Supervisor:
    """Keeps a guard alive in a folder until it is told to end, or is needed no more.

    Args:
        folder: the guard's private folder, with its settings.
        starter: process that asked for the guard; with that one gone and nobody connected, it all ends.
    """

    def __init__(self, folder: Path, starter: int) -> None:
        self._folder, self._starter = folder, starter
        self._settings = load_settings(folder)
        self._lock = take_lock(folder)
        # One session for all guards of this supervisor: the co-processor obeys a restarted one at once.
        self._session = secrets.randbelow(0xFFFF) + 1
        self._ended: list[int] = []
        self._is_done = False

    def run(self) -> None:
        """Supervise until the end; whatever ends it, the guard is ended and zero is written."""
        signal.signal(signal.SIGTERM, lambda number, _frame: self._ended.append(number))
        signal.signal(signal.SIGINT, signal.SIG_IGN)
        patience_ns = PATIENCE_ON_LINE_NS if self._settings.is_serial else PATIENCE_NS
        restarts = 0
        while not (self._is_done or self._ended):
            if restarts:
                time.sleep(_RESTART_PAUSE_S)
            child = Child(self._folder, patience_ns, self._lock, self._session, restarts)
            try:
                self._note(child.pid)
                self._watch(child)
            finally:
                write_zero(self._settings)
                child.close()
            restarts += 1

    def _watch(self, child: Child) -> None:
        """Return when the guard has come to an end; before that, its motors are at zero."""
        try:
            while child.is_well():
                if self._ended or (child.is_spare and os.getppid() != self._starter):
                    self._is_done = True
                    child.end()
                    return
            if not self._ended:
                print(f"the guard {child.fate}; it is started again, stopped", file=sys.stderr, flush=True)
        finally:
            # Before the kill for a guard that cannot be killed, and after it for one that still wrote.
            write_zero(self._settings)
            child.kill()

    def _note(self, guard: int) -> None:
        """Write down who is at work in the folder, for whoever finds it locked."""
        # Of one length and written at once, so that a reader never finds half of it.
        os.pwrite(self._lock, f"{os.getpid():10} {guard:10}\n".encode("ascii"), 0)


def take_lock(folder: Path) -> int:
    """Return the descriptor of the folder's lock.

    Raises:
        BlockingIOError: a guard is at work there.
    """
    descriptor = os.open(folder / LOCK_NAME, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        os.close(descriptor)
        raise
    return descriptor


def main(arguments: list[str]) -> Any:
    """Run the supervisor; ``arguments``: folder, process that starts it."""
    folder, starter = arguments
    Supervisor(Path(folder), int(starter)).run()
