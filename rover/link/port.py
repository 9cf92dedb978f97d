"""The serial port: a thread of its own reads and writes, survives unplugging, and hands over whole lines."""

import contextlib
import errno
import grp
import logging
import os
import select
import termios
import threading
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import NamedTuple, Protocol

import serial

from rover.errors import UserError
from rover.link.sentences import Damage, Framer

Clock = Callable[[], int]
"""Monotonic host time (ns); a rehearsal may pass one that runs faster than real time."""
OnLine = Callable[[bytes, int], None]
"""Takes a line and the host time (ns) at which its last byte was read."""
Compose = Callable[[int], bytes | None]
"""Returns the bytes to write at a host time (ns), None if they have become pointless."""

FIRST_RETRY_NS = 50_000_000
LONGEST_RETRY_NS = 2_000_000_000
_POLL_S = 0.02
_CHUNK = 4096
_QUEUED_MOST = 128

_log = logging.getLogger(__name__)


class PortError(UserError, OSError):
    """The port could not be opened; the message is one line that says why and what to do."""


class PortCounts(NamedTuple):
    """What a port has done so far; ``dropped`` counts messages given up for newer ones or for want of a port."""

    bytes_in: int = 0
    bytes_out: int = 0
    lines: int = 0
    opened: int = 0
    lost: int = 0
    failed_openings: int = 0
    dropped: int = 0
    subscriber_errors: int = 0


class Port(Protocol):
    """What a `rover.link.Link` needs: lines in, newest messages out. A guard that owns the port may offer the same."""

    def subscribe(self, on_line: OnLine) -> None:
        """Call ``on_line`` for every line from now on, in the port's thread."""
        ...

    def write(self, slot: str, compose: Compose) -> None:
        """Write as soon as possible what ``compose`` then returns; a later message of the same slot displaces it."""
        ...

    @property
    def counts(self) -> PortCounts:
        """What the port has done so far."""
        ...

    @property
    def damage(self) -> Mapping[Damage, int]:
        """What the port had to throw away."""
        ...

    def close(self) -> None:
        """Let go of the port; a second call does nothing."""
        ...


class SerialPort:
    """A serial port that is opened at once, and again by itself whenever it was lost.

    `write` never waits: a message is composed when the line takes it, so that its time left is right, and a newer
    message of the same slot displaces one that still waits. Messages written while the port is away are dropped.

    Any thread may call `write` and `close`; subscribers are called in the port's own thread.

    Args:
        path: device file, or a link to one.
        baud: bits a second.
        now_ns: the host's clock; received times and retries go by it.

    Raises:
        PortError: the port cannot be opened now.
    """

    def __init__(self, path: str, baud: int, now_ns: Clock = time.monotonic_ns) -> None:
        self._path, self._baud, self._now_ns = path, baud, now_ns
        self._framer = Framer()
        self._subscribers: tuple[OnLine, ...] = ()
        self._tally = PortCounts()
        self._lock = threading.Lock()
        self._waiting: dict[str, Compose] = {}
        self._unsent = b""
        self._closing = threading.Event()
        self._serial: serial.Serial | None = open_serial(path, baud)
        self._count(opened=1)
        self._wake_read, self._wake_write = os.pipe()
        os.set_blocking(self._wake_read, False)
        os.set_blocking(self._wake_write, False)
        self._thread = threading.Thread(target=self._run, name=f"port {path}", daemon=True)
        self._thread.start()

    @property
    def counts(self) -> PortCounts:
        """What the port has done so far."""
        return self._tally

    @property
    def damage(self) -> Mapping[Damage, int]:
        """What the port had to throw away."""
        return dict(self._framer.damage)

    @property
    def is_open(self) -> bool:
        """Whether the port is there at present."""
        return self._serial is not None

    def subscribe(self, on_line: OnLine) -> None:
        """Call ``on_line`` for every line from now on, in the port's thread."""
        self._subscribers += (on_line,)

    def write(self, slot: str, compose: Compose) -> None:
        """Write as soon as possible what ``compose`` then returns; a later message of the same slot displaces it."""
        with self._lock:
            if self._serial is None or self._closing.is_set():
                self._count(dropped=1)
                return
            if slot in self._waiting:
                self._count(dropped=1)
            self._waiting[slot] = compose
            self._wake()

    def close(self) -> None:
        """Write what the line takes at once, then let go of the port; a second call does nothing."""
        with self._lock:
            if self._closing.is_set():
                return
            self._closing.set()
            self._wake()
        self._thread.join()
        os.close(self._wake_read)
        os.close(self._wake_write)

    def _count(self, **more: int) -> None:
        self._tally = self._tally._replace(**{name: getattr(self._tally, name) + n for name, n in more.items()})

    def _wake(self) -> None:
        # A full pipe wakes the thread just as well.
        with contextlib.suppress(BlockingIOError):
            os.write(self._wake_write, b"!")

    def _run(self) -> None:
        while not self._closing.is_set():
            if self._serial is None:
                self._reopen()
                continue
            try:
                self._exchange(self._serial)
            except (OSError, termios.error):
                self._let_go()
                with self._lock:
                    self._count(lost=1)
        if self._serial is not None:
            with contextlib.suppress(OSError, termios.error):
                self._flush(self._serial)
            self._let_go()

    def _exchange(self, port: serial.Serial) -> None:
        """Wait for bytes or a message, then read and write what is possible without waiting."""
        readable, _, _ = select.select([port.fileno(), self._wake_read], [], [], self._patience())
        if self._wake_read in readable:
            os.read(self._wake_read, _CHUNK)
        if port.fileno() in readable:
            self._receive(os.read(port.fileno(), _CHUNK))
        self._flush(port)

    def _patience(self) -> float:
        with self._lock:
            return 0.002 if self._unsent or self._waiting else 0.5

    def _receive(self, chunk: bytes) -> None:
        received_ns = self._now_ns()
        if not chunk:
            raise OSError(errno.EIO, "the port was unplugged")
        lines = self._framer.feed(chunk)
        with self._lock:
            self._count(bytes_in=len(chunk), lines=len(lines))
        for line in lines:
            self._hand_over(line, received_ns)

    def _hand_over(self, line: bytes, received_ns: int) -> None:
        for on_line in self._subscribers:
            try:
                on_line(line, received_ns)
            except Exception:
                _log.exception("%s: a subscriber failed on %r", self._path, line)
                with self._lock:
                    self._count(subscriber_errors=1)

    def _flush(self, port: serial.Serial) -> None:
        """Write the rest of a message begun, then the waiting ones, as long as the line is not backed up."""
        while port.out_waiting < _QUEUED_MOST and (self._unsent or self._compose_next()):
            try:
                written = os.write(port.fileno(), self._unsent)
            except BlockingIOError:
                return
            self._unsent = self._unsent[written:]
            with self._lock:
                self._count(bytes_out=written)

    def _compose_next(self) -> bool:
        while True:
            with self._lock:
                if not self._waiting:
                    return False
                compose = self._waiting.pop(next(iter(self._waiting)))
            message = compose(self._now_ns())
            if message is not None:
                self._unsent = message
                return True
            with self._lock:
                self._count(dropped=1)

    def _let_go(self) -> None:
        with self._lock:
            lost, self._serial = self._serial, None
            # What waits was meant for a device that was there; after a reconnection it would be old.
            self._count(dropped=len(self._waiting))
            self._waiting.clear()
        self._unsent = b""
        if lost is not None:
            with contextlib.suppress(OSError, termios.error):
                lost.close()

    def _reopen(self) -> None:
        pause_ns = FIRST_RETRY_NS
        while not self._closing.is_set():
            self._wait(pause_ns)
            try:
                found = open_serial(self._path, self._baud)
            except PortError:
                with self._lock:
                    self._count(failed_openings=1)
                pause_ns = min(2 * pause_ns, LONGEST_RETRY_NS)
                continue
            with self._lock:
                self._serial = found
                self._count(opened=1)
            return

    def _wait(self, pause_ns: int) -> None:
        due_ns = self._now_ns() + pause_ns
        while self._now_ns() < due_ns and not self._closing.wait(_POLL_S):
            pass


def open_serial(path: str, baud: int) -> serial.Serial:
    """Return the open port, raw, locked for us alone, DTR left as it is.

    The system itself raises DTR when a port is first opened; hang-up on close is switched off, so that at least no
    later opening makes an edge that resets a board. `tools/coprocessor/README.md` says how to rule out the first.

    Raises:
        PortError: with one line that says why and what to do next.
    """
    # dsrdtr=True means to pyserial that DTR is not its business, and sets nothing else on POSIX systems.
    port = serial.Serial(None, baud, timeout=0, write_timeout=0, dsrdtr=True, exclusive=True)
    port.port = path
    try:
        port.open()
        _keep_lines_on_close(port.fileno())
    except (OSError, termios.error, ValueError) as error:
        port.close()
        raise PortError(_explain(path, baud, error)) from None
    return port


def _keep_lines_on_close(descriptor: int) -> None:
    settings = termios.tcgetattr(descriptor)
    settings[2] &= ~termios.HUPCL
    termios.tcsetattr(descriptor, termios.TCSANOW, settings)


def _explain(path: str, baud: int, error: Exception) -> str:
    match getattr(error, "errno", None):
        case errno.ENOENT | errno.ENODEV | errno.ENXIO:
            return f"no such port: {path}; plug the device in, or correct 'port:' under 'links:' in the robot file"
        case errno.EACCES | errno.EPERM:
            group = _group_of(path)
            return (
                f"permission denied for {path}; join the group that owns the port: "
                f"sudo usermod -aG {group} $USER, then log in again"
            )
        case errno.EBUSY | errno.EAGAIN:
            return f"port {path} is busy: another program has it open; close that one first"
    return f"cannot use {path} as a serial port at {baud} baud ({error}); check 'port:' and 'baud:' in the robot file"


def _group_of(path: str) -> str:
    with contextlib.suppress(OSError, KeyError):
        return grp.getgrgid(Path(path).stat().st_gid).gr_name
    return "dialout"
