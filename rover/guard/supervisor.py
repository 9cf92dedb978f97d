"""The guard's parent: starts it, watches it, and brings the motors to zero itself when the guard dies or hangs.

Kernel PWM keeps its last duty after the process that set it has died, and a co-processor may have no deadline of its
own. The guard beats on a socket; the supervisor echoes each beat, so that each learns of the other's end. When a guard
has died, or was silent for `PATIENCE_NS`, zero is written before anything else (`zero`); then it is killed (SIGKILL),
zero is written again, and the guard is started again, stopped. The supervisor feeds nothing and moves nothing.
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

from rover.guard.settings import LOCK_NAME, load_settings
from rover.guard.zero import Zero

NEEDED, SPARE = b"n", b"s"
"""What the guard's beat tells its supervisor: somebody needs the guard, or nobody has for a while."""
BEAT_EVERY_NS = 40_000_000
SUPERVISOR_WITHIN_NS = 190_000_000
"""From a beat to its echo, which is looked for each 40 ms: one that hangs is noticed in time to stay under 300 ms."""
_FIRST_STEPS = 10_000_000_000
PATIENCE_NS = 220_000_000
"""A beat comes each 40 ms; a guard that hangs is noticed within this, which leaves time to stay under 300 ms. The same
on pins and on the line, since a co-processor may have no deadline of its own."""
LENIENCE_NS = 50_000_000
"""The most that is added for a machine that stood still as a whole."""
FIRST_BEAT_WITHIN_NS = 10_000_000_000
_RESTART_PAUSE_S, _PAUSE_STEP_S = 0.2, 0.02
_END_WITHIN_S = 1.0
_MOST_LINES = 8
_TICK_NS = 50_000_000
_LATE_NS, _A_TURN_NS = 5_000_000, 20_000_000


class Child:
    """One guard process, from its start until it is reaped.

    Args:
        folder: the guard's.
        zero: is given the line that the guard hands over.
        lock: descriptor of the folder's lock.
        numbers: session and restarts, for the guard.

    Attributes:
        is_spare: nobody has been connected to it for a while.
        fate: why it is not well any more; empty while it is.
    """

    def __init__(self, folder: Path, zero: Zero, lock: int, *numbers: int) -> None:
        self._zero = zero
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
        self._polled_line: int | None = None
        self._poll = select.poll()
        self._poll.register(self._ours, select.POLLIN)
        self._poll.register(self._pidfd, select.POLLIN)
        self.is_spare = False
        self.fate = ""
        self._due_ns = self._at_the_latest_ns = 0
        self._give(FIRST_BEAT_WITHIN_NS)

    @property
    def pid(self) -> int:
        """Number of the process."""
        return self._process.pid

    def is_well(self) -> bool:
        """Wait for a beat or an end, 50 ms at most; tell whether the guard lives and beats."""
        if self._zero.line != self._polled_line:
            self._poll_line()
        asked_ns = time.monotonic_ns()
        left_ns = self._due_ns - asked_ns
        patience_ns = min(max(left_ns, 0), _TICK_NS)
        ready = dict(self._poll.poll(-(-patience_ns // 1_000_000)))
        if self._zero.line in ready:
            self._zero.let_go()
        if self._pidfd in ready:
            self.fate = "ended"
        elif self._ours.fileno() in ready:
            self._echo()
        elif left_ns <= 0:
            self.fate = f"gave no sign for {PATIENCE_NS // 1_000_000} ms"
        else:
            self._oversleep(time.monotonic_ns() - asked_ns - patience_ns)
        return not self.fate

    def _poll_line(self) -> None:
        """Look at the line too, but only for its being hung up; at the one before no more."""
        if self._polled_line is not None:
            self._poll.unregister(self._polled_line)
        self._polled_line = self._zero.line
        if self._polled_line is not None:
            self._poll.register(self._polled_line, 0)

    def _oversleep(self, late_ns: int) -> None:
        """Allow the guard what this process overslept: a machine that stood still as a whole is no fault of its.

        After a standstill that used all the lenience up, the guard still has to come to its turn once.
        """
        if late_ns > _LATE_NS:
            self._due_ns = min(self._due_ns + late_ns, self._at_the_latest_ns)
        if late_ns > LENIENCE_NS:
            self._due_ns = max(self._due_ns, time.monotonic_ns() + _A_TURN_NS)

    def _echo(self) -> None:
        try:
            beats, lines, _, _ = socket.recv_fds(self._ours, 256, _MOST_LINES)
            for line in lines:
                os.set_inheritable(line, False)
                self._zero.hold(line)
            self._ours.send(beats)
        except BlockingIOError:
            return
        except OSError:
            beats = b""
        if not beats:
            self.fate = "has hung up"
            return
        self.is_spare = beats.endswith(SPARE)
        self._give(PATIENCE_NS)

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


class SupervisorLink:
    """The guard's end of the pair of sockets: beats go out, and echoes tell whether the supervisor is alive.

    Attributes:
        fault: why the supervisor cannot be counted on; empty when it can.
    """

    def __init__(self, descriptor: int) -> None:
        self.fault = ""
        self._socket = socket.socket(fileno=descriptor)
        self._socket.setblocking(False)
        self._beat_ns = 0
        self._unanswered_ns: int | None = None
        self._within_ns = _FIRST_STEPS
        self._handed_over: int | None = None

    def descriptor(self) -> int | None:
        """Return what to poll, None once the supervisor is gone."""
        return None if self.is_gone() else self._socket.fileno()

    def is_gone(self) -> bool:
        """Tell whether the supervisor has ended."""
        return self._socket.fileno() < 0

    def work(self, now_ns: int, is_spare: bool, line: int | None = None) -> None:
        """When a beat is due, listen to the echo of the one before and beat, telling whether the guard is needed.

        A serial line goes along with a beat as soon as it is open, so that the supervisor can write zero there. It has
        to be None in a call between the closing of a line and the opening of the next.
        """
        if line is None:
            self._handed_over = None
        is_new = line != self._handed_over
        if self.is_gone() or not (is_new or now_ns - self._beat_ns >= BEAT_EVERY_NS):
            return
        self.listen(now_ns)
        beat = [SPARE if is_spare else NEEDED]
        try:
            if line is None or not is_new:
                self._socket.sendmsg(beat)
            else:
                socket.send_fds(self._socket, beat, [line])
            self._beat_ns, self._handed_over = now_ns, line
            self._unanswered_ns = now_ns if self._unanswered_ns is None else self._unanswered_ns
        except BlockingIOError:
            pass
        except OSError:
            self.close()

    def listen(self, now_ns: int) -> None:
        """Take the echoes; with nobody at the other end, the supervisor has ended."""
        if self.is_gone():
            return
        try:
            if self._socket.recv(256):
                self._unanswered_ns, self._within_ns = None, SUPERVISOR_WITHIN_NS
            else:
                self.close()
        except BlockingIOError:
            pass
        except OSError:
            self.close()
        if not self.is_gone():
            is_late = self._unanswered_ns is not None and now_ns - self._unanswered_ns > self._within_ns
            self.fault = "the supervisor does not answer" if is_late else ""

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
        self._zero = Zero(self._settings, self._session)
        self._ended: list[int] = []
        self._is_done = False

    def run(self) -> None:
        """Supervise until the end; whatever ends it, the guard is ended and zero is written."""
        signal.signal(signal.SIGTERM, lambda number, _frame: self._ended.append(number))
        signal.signal(signal.SIGINT, signal.SIG_IGN)
        restarts = 0
        while not (self._is_done or self._ended):
            child = Child(self._folder, self._zero, self._lock, self._session, restarts)
            try:
                self._note(child.pid)
                self._watch(child)
            finally:
                self._zero.write()
                child.close()
            restarts += 1
            self._pause()
        self._zero.end()

    def _pause(self) -> None:
        end_s = time.monotonic() + _RESTART_PAUSE_S
        while time.monotonic() < end_s and not (self._is_done or self._ended):
            self._zero.repeat()
            time.sleep(_PAUSE_STEP_S)

    def _watch(self, child: Child) -> None:
        """Return when the guard has come to an end; before that, its motors are at zero."""
        try:
            while child.is_well():
                self._zero.repeat()
                if self._ended or (child.is_spare and os.getppid() != self._starter):
                    self._is_done = True
                    self._zero.write()
                    child.end()
                    return
        finally:
            # Before the kill for a guard that cannot be killed, and after it for one that still wrote.
            self._zero.write()
            child.kill()
            self._zero.take_over()
        if not self._ended:
            print(f"the guard {child.fate}; it is started again, stopped", file=sys.stderr, flush=True)

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
