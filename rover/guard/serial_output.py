"""The co-processor on a serial line, as the guard writes to it: the one writer of motor and servo commands.

Nothing waits before the end, and the newest message of each kind goes first.
"""

import contextlib
import os
import select
import termios
import time
from collections.abc import Callable, Mapping
from typing import Any

import serial

from rover.devices.sides import Sides
from rover.guard.output import Duties
from rover.link.codec import decode, encode
from rover.link.framing import Framer, SentenceError
from rover.link.port import PortError, open_serial
from rover.link.sentences import U16, U32, Acknowledgement, MotorCommand, ServoCommand

Compose = Callable[[int], bytes | None]
"""Returns the bytes to write at a time (ns), None if they have become pointless."""

MOTORS, SERVO = "motors", "servo"
_BY_URGENCY = (MOTORS, SERVO)
RETRY_NS = 250_000_000
_QUEUED_MOST = 128
_CHUNK = 1024
FIRST_ANSWER_DUE = "has not answered yet"
ANSWER_WITHIN_NS = 500_000_000
"""A device answers 20 times a second; after this much silence what is sent only fills a queue, to be obeyed late."""
REPEAT_SERVO_NS = 100_000_000
ZERO_LASTS_NS = 250_000_000
_LAST_TRIES, _LAST_PAUSE_S = 25, 0.002
_MS = 1_000_000


class SerialLine:
    """A port that is opened again by itself, and messages that wait for it.

    A message is composed as it is written, so that the time it has left is right; a newer one of its kind displaces it
    before that. What waits while the line is away is dropped.

    Attributes:
        trouble: why it is not open.
    """

    def __init__(self, path: str, baud: int, now_ns: Callable[[], int]) -> None:
        self.path = path
        self.trouble = f"the serial line {path} is not open yet"
        self._baud, self._now_ns = baud, now_ns
        self._port: serial.Serial | None = None
        self._retry_ns = 0
        self._waiting: dict[str, Compose] = {}
        self._unsent = b""

    @property
    def is_open(self) -> bool:
        """The port is there."""
        return self._port is not None

    def descriptor(self) -> int | None:
        """Return the port's descriptor while it is open."""
        return None if self._port is None else self._port.fileno()

    def is_pending(self) -> bool:
        """Tell whether something waits to be written."""
        return self._port is not None and bool(self._unsent or self._waiting)

    def is_backed_up(self) -> bool:
        """Tell whether something waits here or in the kernel's queue."""
        try:
            return self._port is not None and (self.is_pending() or self._port.out_waiting > 0)
        except (OSError, termios.error):
            return False

    def open(self, now_ns: int) -> bool:
        """Open the port if that is due; tell whether it is open now."""
        if now_ns < self._retry_ns:
            return False
        self._retry_ns = now_ns + RETRY_NS
        try:
            self._port = open_serial(self.path, self._baud)
        except PortError as error:
            self.trouble = str(error)
        return self.is_open

    def read(self) -> bytes:
        """Return what came in; a line that is readable and yet has nothing to say has been hung up."""
        if self._port is None or not select.select([self._port], [], [], 0.0)[0]:
            return b""
        try:
            chunk = os.read(self._port.fileno(), _CHUNK)
        except BlockingIOError:
            return b""
        except OSError:
            chunk = b""
        if not chunk:
            self._lose()
        return chunk

    def put(self, kind: str, compose: Compose) -> None:
        """Write a message as soon as the line takes it, instead of one of its kind that still waits."""
        self._waiting[kind] = compose
        self.flush()

    def flush(self) -> None:
        """Write the rest of a message begun, then the waiting ones, as long as the line is not backed up."""
        port = self._port
        if port is None:
            self._waiting.clear()
            return
        try:
            while port.out_waiting < _QUEUED_MOST and (self._unsent or self._compose_next()):
                self._unsent = self._unsent[os.write(port.fileno(), self._unsent) :]
        except BlockingIOError:
            return
        except (OSError, termios.error):
            self._lose()

    def _compose_next(self) -> bool:
        while self._waiting and not self._unsent:
            kind = next(kind for kind in _BY_URGENCY if kind in self._waiting)
            self._unsent = self._waiting.pop(kind)(self._now_ns()) or b""
        return bool(self._unsent)

    def discard(self) -> None:
        """Throw away what is half written or in the kernel's queue; a sentence cut short ends at the next ``$``."""
        self._unsent = b""
        if self._port is not None:
            with contextlib.suppress(OSError, termios.error):
                termios.tcflush(self._port.fileno(), termios.TCOFLUSH)

    def _lose(self) -> None:
        self.close(f"the serial line {self.path} is gone; plug it in again")

    def close(self, why: str) -> None:
        """Let go of the port, and drop what waits."""
        port, self._port, self.trouble = self._port, None, why
        self._unsent = b""
        self._waiting.clear()
        if port is not None:
            with contextlib.suppress(OSError, termios.error):
                port.close()


class Answers:
    """What the device answers to motor commands; everything else that comes in is for the runtime.

    Attributes:
        has_come: there has been one since the line was opened.
    """

    def __init__(self) -> None:
        self.has_come = False
        self._framer = Framer()
        self._last_sent = 0
        self._unanswered: tuple[int, int] | None = None

    def is_overdue(self, now_ns: int) -> bool:
        """Tell whether the device has left a command unanswered for too long."""
        return self._unanswered is not None and now_ns - self._unanswered[1] > ANSWER_WITHIN_NS

    def expect(self, sequence: int, now_ns: int) -> None:
        """Note that a command has been sent."""
        self._last_sent = sequence
        if self._unanswered is None:
            self._unanswered = (sequence, now_ns)

    def look_for(self, chunk: bytes, now_ns: Callable[[], int]) -> None:
        """Look for answers in the bytes that came in."""
        for line in self._framer.feed(chunk):
            if line.startswith(b"$PXFRA,"):
                self._take(line, now_ns)

    def _take(self, line: bytes, now_ns: Callable[[], int]) -> None:
        try:
            answer = decode(line)
        except SentenceError:
            return
        if not isinstance(answer, Acknowledgement) or answer.command != "M":
            return
        if self._unanswered is not None and _is_from(answer.command_sequence, self._unanswered[0]):
            self.has_come = True
            # What was sent since is still to be answered, though it may not even have left this process.
            is_last = _is_from(answer.command_sequence, self._last_sent)
            self._unanswered = None if is_last else (answer.command_sequence + 1, now_ns())


class SerialOutput:
    """The co-processor. A session's sequence follows the clock, so that a guard started again is obeyed at once.

    Args:
        settings: ``port``, ``baud`` and the keys of `Sides`.
        session: the sender's number in the sentences.
        now_ns: the clock.
    """

    def __init__(
        self, settings: Mapping[str, Any], session: int, now_ns: Callable[[], int] = time.monotonic_ns
    ) -> None:
        self.is_stuck = False  # what cannot be reached comes to zero by its own deadline
        self._line = SerialLine(str(settings["port"]), int(settings["baud"]), now_ns)
        self._answers = Answers()
        self._sides, self._session, self._now_ns = Sides(settings), session, now_ns
        self._sequence = 0
        self._moving = False
        self._servo_sent = (-1, 0)

    @property
    def fault(self) -> str:
        """What is wrong, in words for a person; empty when nothing is."""
        if not self._line.is_open:
            return self._line.trouble
        device = f"the co-processor on {self._line.path}"
        if not self._answers.has_come:
            return f"{device} {FIRST_ANSWER_DUE}; check its power, and 'baud:' in the robot file"
        return f"{device} does not answer" if self._answers.is_overdue(self._now_ns()) else ""

    def drive(self, left: float, right: float, until_ns: int) -> Duties:
        """Send the duties with the time left until ``until_ns``."""
        channels = self._sides.to_channels(_permille(left), _permille(right))
        self._moving = self._moving or channels != (0, 0)
        self._line.put(MOTORS, lambda now_ns: self._motors(channels, now_ns, until_ns))
        return left, right

    def zero(self) -> None:
        """Bring the wheels to zero, ahead of all that waits here or in the kernel's queue."""
        if self._moving or self._answers.is_overdue(self._now_ns()):
            self._line.discard()
        self._moving = False
        self._line.put(MOTORS, lambda now_ns: self._motors((0, 0), now_ns, now_ns + ZERO_LASTS_NS))

    def servo(self, pulse_us: int, until_ns: int) -> None:
        """Send a pulse width; one that changes nothing goes out ten times a second at most."""
        sent_us, sent_ns = self._servo_sent
        now_ns = self._now_ns()
        if pulse_us == sent_us and now_ns - sent_ns < REPEAT_SERVO_NS:
            return
        self._servo_sent = (pulse_us, now_ns)
        self._line.put(SERVO, lambda now_ns: self._pulse(pulse_us, now_ns, until_ns))

    def work(self, now_ns: int) -> bytes:
        """Open the port if that is due, write what waits, and return what came in."""
        if not self._line.is_open and not self._open(now_ns):
            return b""
        chunk = self._line.read()
        self._answers.look_for(chunk, self._now_ns)
        self._line.flush()
        return chunk

    def descriptor(self) -> int | None:
        """Return the port's descriptor while it is open."""
        return self._line.descriptor()

    def is_pending(self) -> bool:
        """Tell whether something waits to be written."""
        return self._line.is_pending()

    def close(self) -> None:
        """Send a last zero, wait 50 ms at most for it to go out, and let go."""
        if not self._line.is_open:
            return
        self.zero()
        for _ in range(_LAST_TRIES):
            if not self._line.is_backed_up():
                break
            time.sleep(_LAST_PAUSE_S)
            self._line.flush()
        if self._line.is_backed_up():
            # The system would hold the close until the line takes it all.
            self._line.discard()
        self._line.close("closed")

    def _open(self, now_ns: int) -> bool:
        if not self._line.open(now_ns):
            return False
        self._answers, self._moving = Answers(), False
        self.zero()
        return self._line.is_open

    def _motors(self, channels: tuple[int, int], now_ns: int, until_ns: int) -> bytes | None:
        lasts_ms = (until_ns - now_ns) // _MS
        if lasts_ms <= 0:
            return None
        sequence = self._next_sequence(now_ns)
        self._answers.expect(sequence, now_ns)
        return encode(MotorCommand(self._session, sequence, *channels, min(lasts_ms, U16)))

    def _pulse(self, pulse_us: int, now_ns: int, until_ns: int) -> bytes | None:
        lasts_ms = (until_ns - now_ns) // _MS
        if lasts_ms <= 0:
            return None
        return encode(ServoCommand(self._session, self._next_sequence(now_ns), pulse_us, min(lasts_ms, U16)))

    def _next_sequence(self, now_ns: int) -> int:
        self._sequence = max(self._sequence + 1, now_ns // _MS)
        return self._sequence & U32


def _is_from(sequence: int, first: int) -> bool:
    """Tell whether a 32-bit sequence is the first one or a later one, through a wrap."""
    return (sequence - first) & U32 < 1 << 31


def _permille(share: float) -> int:
    return round(share * 1000)
