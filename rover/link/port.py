"""The serial port: a thread of its own reads, survives unplugging, and hands over whole lines.

Nothing is written here: what commands wheels and jaws has one way to the line, the motor guard's.
"""

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
from typing import NamedTuple

import serial

from rover.errors import A_LOOP, UserError
from rover.link.framing import Damage, Framer

Clock = Callable[[], int]
"""Monotonic host time (ns); a rehearsal may pass one that runs faster than real time."""
OnLine = Callable[[bytes, int], None]
"""Takes a line and the host time (ns) at which its last byte was read."""

FIRST_RETRY_NS = 50_000_000
LONGEST_RETRY_NS = 2_000_000_000
_POLL_S = 0.02
_CHUNK = 4096

_log = logging.getLogger(__name__)


class PortError(UserError, OSError):
    """The port could not be opened; the message is one line that says why and what to do."""


class PortCounts(NamedTuple):
    """What a port has done so far."""

    bytes_in: int = 0
    lines: int = 0
    opened: int = 0
    lost: int = 0
    failed_openings: int = 0
    subscriber_errors: int = 0


class LinePort:
    """What a `rover.link.Link` hears, wherever the bytes come from: cut into lines, counted, handed over."""

    def __init__(self, name: str) -> None:
        self._name = name
        self._framer = Framer()
        self._subscribers: tuple[OnLine, ...] = ()
        self._tally = PortCounts()

    @property
    def counts(self) -> PortCounts:
        """What the port has done so far."""
        return self._tally

    @property
    def damage(self) -> Mapping[Damage, int]:
        """What the port had to throw away."""
        return dict(self._framer.damage)

    def subscribe(self, on_line: OnLine) -> None:
        """Call ``on_line`` for every line from now on, in the port's thread."""
        self._subscribers += (on_line,)

    def close(self) -> None:
        """Hand over no more; a second call does nothing."""

    def feed(self, chunk: bytes, received_ns: int) -> None:
        """Take bytes that came in at a host time (ns); called in the port's thread."""
        lines = self._framer.feed(chunk)
        self._count(bytes_in=len(chunk), lines=len(lines))
        for line in lines:
            for on_line in self._subscribers:
                try:
                    on_line(line, received_ns)
                except Exception:
                    _log.exception("%s: a subscriber failed on %r", self._name, line)
                    self._count(subscriber_errors=1)

    def _count(self, **more: int) -> None:
        self._tally = self._tally._replace(**{name: getattr(self._tally, name) + n for name, n in more.items()})


class SerialPort(LinePort):
    """A serial port that is opened at once, and again by itself whenever it was lost.

    Subscribers are called in the port's own thread.

    Args:
        path: device file, or a link to one.
        baud: bits a second.
        now_ns: the host's clock; received times and retries go by it.

    Raises:
        PortError: the port cannot be opened now.
    """

    def __init__(self, path: str, baud: int, now_ns: Clock = time.monotonic_ns) -> None:
        super().__init__(path)
        self._path, self._baud, self._now_ns = path, baud, now_ns
        self._closing = threading.Event()
        self._serial: serial.Serial | None = open_serial(path, baud)
        self._count(opened=1)
        self._thread = threading.Thread(target=self._run, name=f"port {path}", daemon=True)
        self._thread.start()

    @property
    def is_open(self) -> bool:
        """Whether the port is there at present."""
        return self._serial is not None

    def close(self) -> None:
        """Let go of the port; a second call does nothing."""
        self._closing.set()
        self._thread.join()

    def _run(self) -> None:
        while not self._closing.is_set():
            if self._serial is None:
                self._reopen()
                continue
            try:
                self._receive(self._serial)
            except (OSError, termios.error):
                self._let_go()
                self._count(lost=1)
        self._let_go()

    def _receive(self, port: serial.Serial) -> None:
        if not select.select([port.fileno()], [], [], _POLL_S)[0]:
            return
        chunk = os.read(port.fileno(), _CHUNK)
        received_ns = self._now_ns()
        if not chunk:
            raise OSError(errno.EIO, "the port was unplugged")
        self.feed(chunk, received_ns)

    def _let_go(self) -> None:
        lost, self._serial = self._serial, None
        if lost is not None:
            with contextlib.suppress(OSError, termios.error):
                lost.close()

    def _reopen(self) -> None:
        pause_ns = FIRST_RETRY_NS
        while not self._closing.is_set():
            self._wait(pause_ns)
            try:
                self._serial = open_serial(self._path, self._baud)
            except PortError:
                self._count(failed_openings=1)
                pause_ns = min(2 * pause_ns, LONGEST_RETRY_NS)
                continue
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
        case errno.ELOOP:
            return f"port {path} {A_LOOP}; correct 'port:' under 'links:' in the robot file"
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
