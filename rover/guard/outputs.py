"""The actuators as the guard sees them: a co-processor on a serial line, or motors and servo on pins.

An output never waits and never raises; what is wrong with it stands in ``fault``, it stays at zero as far as that
depends on it, and it is opened again by itself.
"""

import contextlib
import os
import select
import termios
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Protocol

import serial

from rover.devices.sides import Sides
from rover.guard.settings import GuardSettings
from rover.link import sentences
from rover.link.port import PortError, open_serial
from rover.link.sentences import Acknowledgement, MotorCommand, SentenceError, ServoCommand

FIRST_ANSWER_DUE = "has not answered yet"
ANSWER_WITHIN_NS = 500_000_000
"""A device answers 20 times a second; after this much silence what is sent only fills a queue, to be obeyed late."""
REPEAT_SERVO_NS = 100_000_000
RETRY_NS = 250_000_000
_SERVO_HZ = 50.0
_LAST_TRIES, _LAST_PAUSE_S = 25, 0.002
_QUEUED_MOST = 128
_CHUNK = 1024
_MS = 1_000_000
_LONGEST_ANSWER = 256

Duties = tuple[float, float]
ZERO: Duties = (0.0, 0.0)


class Output(Protocol):
    """What carries out commands."""

    @property
    def fault(self) -> str:
        """What is wrong, in words for a person; empty when nothing is."""
        ...

    @property
    def is_stuck(self) -> bool:
        """Wheels may be turning and could not be brought to zero from here."""
        ...

    def drive(self, left: float, right: float, until_ns: int) -> Duties:
        """Give the wheels a duty that lasts until a time at most; return what they have been given."""
        ...

    def zero(self) -> None:
        """Bring the wheels to zero before anything else, throwing away what has not gone out yet."""
        ...

    def servo(self, pulse_us: int, until_ns: int) -> None:
        """Give the servo a pulse width (us; 0: limp)."""
        ...

    def work(self, now_ns: int) -> bytes:
        """Do what is due without waiting, and return the bytes that came in."""
        ...

    def descriptor(self) -> int | None:
        """Return what to poll for incoming bytes."""
        ...

    def is_pending(self) -> bool:
        """Tell whether something waits to be written."""
        ...

    def close(self) -> None:
        """Bring everything to zero and let go."""
        ...


class SerialOutput:
    """The co-processor. Messages are composed as they are written, so that their time left is right.

    A newer message displaces one that waits; a session's sequence follows the clock, so that a guard that was
    started again is obeyed at once.

    Args:
        settings: ``port``, ``baud`` and the keys of `Sides`.
        session: the sender's number in the sentences.
        now_ns: the clock.
    """

    def __init__(
        self, settings: Mapping[str, Any], session: int, now_ns: Callable[[], int] = time.monotonic_ns
    ) -> None:
        self.is_stuck = False  # what cannot be reached comes to zero by its own deadline
        self._path, self._baud = str(settings["port"]), int(settings["baud"])
        self._sides, self._session, self._now_ns = Sides(settings), session, now_ns
        self._port: serial.Serial | None = None
        self._trouble = f"the serial line {self._path} is not open yet"
        self._retry_ns = 0
        self._sequence = self._last_motors = 0
        self._moving = False
        self._waiting: dict[str, Callable[[int], bytes | None]] = {}
        self._servo_sent = (-1, 0)
        self._forget_line()

    def _forget_line(self) -> None:
        self._unsent, self._heard = b"", b""
        self._unanswered: tuple[int, int] | None = None
        self._has_answered = False
        self._waiting.clear()

    @property
    def fault(self) -> str:
        """What is wrong, in words for a person; empty when nothing is."""
        if self._port is None:
            return self._trouble
        if not self._has_answered:
            return (
                f"the co-processor on {self._path} {FIRST_ANSWER_DUE}; check its power, and 'baud:' in the robot file"
            )
        return f"the co-processor on {self._path} does not answer" if self._is_deaf() else ""

    def _is_deaf(self) -> bool:
        return self._unanswered is not None and self._now_ns() - self._unanswered[1] > ANSWER_WITHIN_NS

    def drive(self, left: float, right: float, until_ns: int) -> Duties:
        """Send the duties with the time left until ``until_ns``."""
        channels = self._sides.to_channels(_permille(left), _permille(right))
        self._moving = self._moving or channels != (0, 0)
        self._waiting["motors"] = lambda now_ns: self._motors(channels, now_ns, until_ns)
        self._flush()
        return left, right

    def zero(self) -> None:
        """Bring the wheels to zero, ahead of all that waits here or in the kernel's queue."""
        if self._moving or self._is_deaf():
            self._discard()
        self._moving = False
        self._waiting = {
            "motors": lambda now_ns: self._motors((0, 0), now_ns, now_ns + 250 * _MS)
        } | self._servo_waiting()
        self._flush()

    def _servo_waiting(self) -> dict[str, Callable[[int], bytes | None]]:
        return {slot: compose for slot, compose in self._waiting.items() if slot == "servo"}

    def servo(self, pulse_us: int, until_ns: int) -> None:
        """Send a pulse width; one that changes nothing goes out ten times a second at most."""
        sent_us, sent_ns = self._servo_sent
        now_ns = self._now_ns()
        if pulse_us == sent_us and now_ns - sent_ns < REPEAT_SERVO_NS:
            return
        self._servo_sent = (pulse_us, now_ns)
        self._waiting["servo"] = lambda now_ns: self._pulse(pulse_us, now_ns, until_ns)
        self._flush()

    def work(self, now_ns: int) -> bytes:
        """Open the port if that is due, write what waits, and return what came in."""
        if self._port is None and not self._open(now_ns):
            return b""
        chunk = self._read()
        self._listen(chunk)
        self._flush()
        return chunk

    def descriptor(self) -> int | None:
        """Return the port's descriptor while it is open."""
        return None if self._port is None else self._port.fileno()

    def is_pending(self) -> bool:
        """Tell whether something waits to be written."""
        return self._port is not None and bool(self._unsent or self._waiting)

    def close(self) -> None:
        """Send a last zero, wait 50 ms at most for it to go out, and let go."""
        if self._port is None:
            return
        self.zero()
        for _ in range(_LAST_TRIES):
            if not self._is_backed_up():
                break
            time.sleep(_LAST_PAUSE_S)
            self._flush()
        if self._is_backed_up():
            # The system would hold the close until the line takes it all.
            self._discard()
        self._lose("closed")

    def _is_backed_up(self) -> bool:
        try:
            return self._port is not None and (self.is_pending() or self._port.out_waiting > 0)
        except (OSError, termios.error):
            return False

    def _open(self, now_ns: int) -> bool:
        if now_ns < self._retry_ns:
            return False
        self._retry_ns = now_ns + RETRY_NS
        try:
            self._port = open_serial(self._path, self._baud)
        except PortError as error:
            self._trouble = str(error)
            return False
        self._forget_line()
        self.zero()
        return self._port is not None

    def _read(self) -> bytes:
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
            self._lose(f"the serial line {self._path} is gone; plug it in again")
        return chunk

    def _listen(self, chunk: bytes) -> None:
        """Look for the device's answers to motor commands; everything else is for the runtime."""
        *lines, rest = (self._heard + chunk).split(b"\n")
        self._heard = rest[-_LONGEST_ANSWER:]
        for line in lines:
            start = line.rfind(b"$PXFRA,")
            if start >= 0:
                self._take_answer(line[start:].rstrip(b"\r"))

    def _take_answer(self, line: bytes) -> None:
        try:
            answer = sentences.decode(line)
        except SentenceError:
            return
        if not isinstance(answer, Acknowledgement) or answer.command != "M":
            return
        if self._unanswered is not None and _is_from(answer.command_sequence, self._unanswered[0]):
            self._has_answered = True
            # What was sent since is still to be answered, though it may not even have left this process.
            is_last = _is_from(answer.command_sequence, self._last_motors)
            self._unanswered = None if is_last else (answer.command_sequence + 1, self._now_ns())

    def _flush(self) -> None:
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
            self._lose(f"the serial line {self._path} is gone; plug it in again")

    def _compose_next(self) -> bool:
        while self._waiting and not self._unsent:
            slot = "motors" if "motors" in self._waiting else "servo"
            self._unsent = self._waiting.pop(slot)(self._now_ns()) or b""
        return bool(self._unsent)

    def _motors(self, channels: tuple[int, int], now_ns: int, until_ns: int) -> bytes | None:
        lasts_ms = (until_ns - now_ns) // _MS
        if lasts_ms <= 0:
            return None
        self._last_motors = sequence = self._next_sequence(now_ns)
        if self._unanswered is None:
            self._unanswered = (sequence, now_ns)
        return sentences.encode(MotorCommand(self._session, sequence, *channels, min(lasts_ms, sentences.U16)))

    def _pulse(self, pulse_us: int, now_ns: int, until_ns: int) -> bytes | None:
        lasts_ms = (until_ns - now_ns) // _MS
        if lasts_ms <= 0:
            return None
        sequence = self._next_sequence(now_ns)
        return sentences.encode(ServoCommand(self._session, sequence, pulse_us, min(lasts_ms, sentences.U16)))

    def _next_sequence(self, now_ns: int) -> int:
        self._sequence = max(self._sequence + 1, now_ns // _MS)
        return self._sequence & sentences.U32

    def _discard(self) -> None:
        """Throw away what has not gone out; a sentence cut short ends at the ``$`` of the next."""
        self._unsent = b""
        if self._port is not None:
            with contextlib.suppress(OSError, termios.error):
                termios.tcflush(self._port.fileno(), termios.TCOFLUSH)

    def _lose(self, why: str) -> None:
        port, self._port, self._trouble = self._port, None, why
        self._forget_line()
        self._moving = False
        if port is not None:
            with contextlib.suppress(OSError, termios.error):
                port.close()


class PinOutput:
    """Motors on an H-bridge and a servo, both on pins of the board itself.

    Kernel PWM keeps its last duty when this process dies: the supervisor is the second way to zero.

    Args:
        drive: keys of the `HBridge`.
        servo: ``pwm_channel``, ``pwm_chip``, ``pwm_files``; None: no gripper.
    """

    def __init__(self, drive: Mapping[str, Any], servo: Mapping[str, Any] | None) -> None:
        self.fault = "not open yet"
        self.is_stuck = False
        self._drive_options, self._servo_options = drive, servo
        self._bridge: Any = None
        self._servo: Any = None
        self._retry_ns = 0

    def drive(self, left: float, right: float, until_ns: int) -> Duties:
        """Set the duties; pins have no deadline of their own, so ``until_ns`` is the guard's to keep."""
        if self._bridge is None:
            return ZERO
        applied: Duties = self._guarded(lambda: self._bridge.apply(left, right)) or ZERO
        return applied

    def zero(self) -> None:
        """Bring the wheels to zero."""
        if self._bridge is not None:
            self._guarded(self._bridge.zero)

    def servo(self, pulse_us: int, until_ns: int) -> None:
        """Set the pulse width."""
        if self._servo is not None:
            self._guarded(lambda: self._servo.set_pulse(pulse_us / 1e6))

    def work(self, now_ns: int) -> bytes:
        """Open the pins if that is due; nothing comes in from them."""
        if self._bridge is None and now_ns >= self._retry_ns:
            self._retry_ns = now_ns + RETRY_NS
            self._guarded(self._open)
        return b""

    def descriptor(self) -> int | None:
        """There is nothing to poll."""
        return None

    def is_pending(self) -> bool:
        """Nothing ever waits."""
        return False

    def close(self) -> None:
        """Zero, and let go of pins and channels; a failure of one does not keep the others from it."""
        bridge, servo, self._bridge, self._servo = self._bridge, self._servo, None, None
        self.is_stuck |= not _closed(bridge)
        _closed(servo)

    def _open(self) -> None:
        # Imported here, so that a guard on a serial line loads nothing of pins.
        from rover.devices.drive.h_bridge import HBridge
        from rover.devices.kernel.pwm import ROOT, PwmChannel

        self._bridge = HBridge(self._drive_options)
        if self._servo_options is not None:
            options = self._servo_options
            root = Path(options.get("pwm_files") or ROOT)
            self._servo = PwmChannel(int(options.get("pwm_chip") or 0), int(options["pwm_channel"]), root)
            self._servo.configure(_SERVO_HZ)
        self.fault = ""
        self.is_stuck = False  # both channels were zero as they were opened

    def _guarded(self, act: Callable[[], Any]) -> Any:
        """Return what ``act`` returns; if it fails, everything is let go, zero first."""
        try:
            return act()
        except Exception as error:
            self.close()
            self.fault = str(error) or type(error).__name__
            return None


def _closed(device: Any) -> bool:
    """Tell whether a device, if there is one, could be closed."""
    try:
        if device is not None:
            device.close()
    except Exception:
        return False
    return True


def _is_from(sequence: int, first: int) -> bool:
    """Tell whether a 32-bit sequence is the first one or a later one, through a wrap."""
    return (sequence - first) & sentences.U32 < 1 << 31


def _permille(share: float) -> int:
    return round(share * 1000)


def output_of(settings: GuardSettings, session: int) -> Output:
    """Return the output that the settings name; it opens itself at its first `work`."""
    if settings.is_serial:
        return SerialOutput(settings.drive, session)
    return PinOutput(settings.drive, settings.servo)
