"""A co-processor made of software, byte for byte, for bringing a robot up without its board and for rehearsal.

`CoProcessor` is the protocol and nothing else: bytes and times in, bytes out, so that tests are exact.
`Emulator` puts it behind a pseudo-terminal in a thread of its own. What drives, turns and grips stands behind
the `EmulatedHardware` protocol: the bench, or `WheelsFree`.

It models: the baud rate both ways, delivery in odd pieces, a skewed device clock, reboots, unplugging, the
command deadline, refusal of stale, repeated, expired and invalid commands. It does not model: bit errors, parity,
the latency timer of a USB adapter, the state of DTR.
"""

import contextlib
import math
import os
import random
import select
import threading
import time
import tty
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple, Protocol

from rover.link.sentences import (
    U16,
    U32,
    UPWARDS,
    Acceptance,
    Acknowledgement,
    BatteryReport,
    Command,
    CountsReport,
    Damage,
    Framer,
    HeadingReport,
    Identity,
    JawsReport,
    Layout,
    MotorCommand,
    SentenceError,
    ServoCommand,
    decode,
    encode,
)
from rover.quantities import field_to_compass

SERVO_LIMP_AFTER_NS = 10_000_000_000
SHORTEST_PULSE_US, LONGEST_PULSE_US = 500, 2500
_NS_PER_MS = 1_000_000
_NS_PER_S = 1_000_000_000
_TICK_S = 0.001
_TICK_NS = 2_000_000
_BUFFER = 512


class HardwareState(NamedTuple):
    """What the sensors of a machine would say at a moment.

    Attributes:
        left, right: encoder counts of the two channels, forwards positive.
        heading, rate: rad and rad/s, field frame, counter-clockwise positive.
        calibration: of the heading, 0 to 3.
        volts, amps: at the battery's terminals.
        opening, holding: of the jaws, as in `JawsValue`.
    """

    left: int
    right: int
    heading: float
    rate: float
    calibration: int
    volts: float
    amps: float
    opening: float | None
    holding: bool | None


class EmulatedHardware(Protocol):
    """What stands behind the co-processor's pins. Times never go back; one thread calls."""

    def sample(self, now_ns: int) -> HardwareState:
        """Return what the sensors say now."""
        ...

    def drive(self, left: float, right: float, now_ns: int) -> None:
        """Give the two channels a duty (-1 to 1) from now on."""
        ...

    def servo(self, pulse_s: float | None, now_ns: int) -> None:
        """Give the servo a pulse width (s) from now on; None lets it go limp."""
        ...


class WheelsFree:
    """A machine on a stand: counts follow the duty at once, the heading stays, the jaws follow the servo at once."""

    def __init__(self, counts_per_second: float = 1500.0, closed_s: float = 0.0011, open_s: float = 0.0019) -> None:
        self._counts_per_second = counts_per_second
        self._closed_s, self._span_s = closed_s, open_s - closed_s
        self._left = self._right = 0.0
        self._duty = (0.0, 0.0)
        self._opening: float | None = None
        self._since_ns: int | None = None

    def sample(self, now_ns: int) -> HardwareState:
        """Return what the sensors say now."""
        self._turn_wheels(now_ns)
        amps = 0.3 + abs(self._duty[0]) + abs(self._duty[1])
        left, right = math.floor(self._left), math.floor(self._right)
        return HardwareState(left, right, 0.0, 0.0, 3, 12.3 - 0.15 * amps, amps, self._opening, None)

    def drive(self, left: float, right: float, now_ns: int) -> None:
        """Give the two channels a duty (-1 to 1) from now on."""
        self._turn_wheels(now_ns)
        self._duty = (left, right)

    def servo(self, pulse_s: float | None, now_ns: int) -> None:
        """Give the servo a pulse width (s) from now on; limp jaws stay where they are."""
        if pulse_s is not None:
            self._opening = min(max((pulse_s - self._closed_s) / self._span_s, 0.0), 1.0)

    def _turn_wheels(self, now_ns: int) -> None:
        elapsed_s = 0.0 if self._since_ns is None else (now_ns - self._since_ns) / _NS_PER_S
        self._left += self._duty[0] * self._counts_per_second * elapsed_s
        self._right += self._duty[1] * self._counts_per_second * elapsed_s
        self._since_ns = now_ns


class Applied(NamedTuple):
    """The channels' duty from ``now_ns`` on."""

    now_ns: int
    left: float
    right: float


@dataclass(frozen=True)
class Firmware:
    """How a co-processor is set.

    Attributes:
        deadline_ms: motors are at zero when no valid command came for this long; None, in tests only: never.
        max_duty: no command gets more.
        skew: device seconds gained for each host second.
        first_ms: where the device's millisecond count starts at a boot.
        name: sent in the identity.
    """

    deadline_ms: int | None = 250
    max_duty: float = 1.0
    skew: float = 0.0
    first_ms: int = 0
    name: str = "emulator 1"


class CoProcessor:
    """The protocol of the co-processor, without port or clock: `feed` it bytes, ask `due` for what it sends.

    Times (host ns) never go back from call to call.

    Attributes:
        boot: number of the present boot.
        applied: every change of duty, oldest first; the one at a deadline bears the deadline's time.
        damage: what was wrong with the bytes fed.
    """

    def __init__(self, machine: EmulatedHardware, now_ns: int, firmware: Firmware | None = None) -> None:
        self.boot = 0
        self.applied: list[Applied] = []
        self._firmware = firmware or Firmware()
        self._machine = machine
        self._decoder_damage: Counter[Damage] = Counter()
        self.reboot(now_ns)

    @property
    def damage(self) -> Counter[Damage]:
        """How often each kind of damage was met since the boot."""
        return self._framer.damage + self._decoder_damage

    def reboot(self, now_ns: int) -> None:
        """Start again: a new boot number, counts and milliseconds from the beginning, motors at zero, servo limp."""
        self.boot = (self.boot + 1) & U16
        self._booted_ns = now_ns
        self._framer = Framer()
        self._session: int | None = None
        self._last_sequence: dict[type[Command], int] = {}
        self._motors_until_ns: int | None = None
        self._driven_by = 0
        self._servo_until_ns: int | None = None
        self._answers: dict[str, tuple[int, Acceptance]] = {}
        self._sent: Counter[str] = Counter()
        self._next_ns = {layout.letter: now_ns for layout in UPWARDS}
        self._duty = (0, 0)
        self._set_duty((0, 0), now_ns)
        self._machine.servo(None, now_ns)
        state = self._machine.sample(now_ns)
        self._counts_at_boot = (state.left, state.right)

    def feed(self, received: bytes, now_ns: int) -> None:
        """Take bytes that came in by now."""
        self._enforce_deadlines(now_ns)
        for line in self._framer.feed(received):
            try:
                value = decode(line)
            except SentenceError as error:
                self._decoder_damage[error.damage] += 1
                continue
            if isinstance(value, Command):
                self._obey(value, now_ns)

    def due(self, now_ns: int) -> bytes:
        """Return the sentences that are due by now; periods missed are not made up for."""
        self._enforce_deadlines(now_ns)
        state = self._machine.sample(now_ns)
        return b"".join(self._report(layout, state, now_ns) for layout in UPWARDS if self._is_due(layout, now_ns))

    def _obey(self, command: Command, now_ns: int) -> None:
        verdict = self._judge(command)
        letter = "M" if isinstance(command, MotorCommand) else "S"
        self._answers[letter] = (command.sequence, verdict)
        if verdict is not Acceptance.ACCEPTED:
            return
        if command.session != self._session:
            self._session, self._last_sequence = command.session, {}
        self._last_sequence[type(command)] = command.sequence
        if isinstance(command, MotorCommand):
            self._drive(command, now_ns)
        else:
            self._move_servo(command, now_ns)

    def _judge(self, command: Command) -> Acceptance:
        if not _is_in_range(command):
            return Acceptance.INVALID
        if command.lasts_ms == 0:
            return Acceptance.EXPIRED
        if command.session != self._session:
            # Anyone may stop; only who finds the motors at zero may start.
            free = self._duty == (0, 0) or (isinstance(command, MotorCommand) and command[2:4] == (0, 0))
            return Acceptance.ACCEPTED if free else Acceptance.OTHER_SESSION
        last = self._last_sequence.get(type(command))
        if last is not None and not 0 < (command.sequence - last) & U32 < 1 << 31:
            return Acceptance.STALE
        return Acceptance.ACCEPTED

    def _drive(self, command: MotorCommand, now_ns: int) -> None:
        most = round(self._firmware.max_duty * 1000)
        left, right = (min(max(duty, -most), most) for duty in (command.left_permille, command.right_permille))
        deadline_ms = self._firmware.deadline_ms
        lasts_ms = None if deadline_ms is None else min(command.lasts_ms, deadline_ms)
        self._motors_until_ns = None if lasts_ms is None else now_ns + lasts_ms * _NS_PER_MS
        self._driven_by = command.sequence
        self._set_duty((left, right), now_ns)

    def _move_servo(self, command: ServoCommand, now_ns: int) -> None:
        self._servo_until_ns = now_ns + SERVO_LIMP_AFTER_NS
        self._machine.servo(command.pulse_us / 1e6 or None, now_ns)

    def _set_duty(self, duty: tuple[int, int], now_ns: int) -> None:
        self._duty = duty
        left, right = duty[0] / 1000.0, duty[1] / 1000.0
        self._machine.drive(left, right, now_ns)
        if not self.applied or self.applied[-1][1:] != (left, right):
            self.applied.append(Applied(now_ns, left, right))

    def _enforce_deadlines(self, now_ns: int) -> None:
        if self._motors_until_ns is not None and now_ns >= self._motors_until_ns:
            self._set_duty((0, 0), self._motors_until_ns)
            self._motors_until_ns = None
            self._answers["M"] = (self._driven_by, Acceptance.LAPSED)
        # The jaws keep what they hold through a short silence; the servo shall not push for ever at a long one.
        if self._servo_until_ns is not None and now_ns >= self._servo_until_ns:
            self._machine.servo(None, self._servo_until_ns)
            self._servo_until_ns = None

    def _is_due(self, layout: Layout, now_ns: int) -> bool:
        letter = layout.letter
        if now_ns < self._next_ns[letter] or (letter == "A" and not self._answers):
            return False
        period_ns = _NS_PER_S // layout.rate_hz
        missed = (now_ns - self._next_ns[letter]) // period_ns
        self._next_ns[letter] = (
            now_ns + period_ns if letter == "A" else self._next_ns[letter] + (missed + 1) * period_ns
        )
        return True

    def _report(self, layout: Layout, state: HardwareState, now_ns: int) -> bytes:
        fields = self._fields(layout.value, state)
        if fields is None:
            return b""
        sequence = self._sent[layout.letter] & U16
        self._sent[layout.letter] += 1
        return encode(layout.value(sequence, self._device_ms(now_ns), self.boot, *fields))

    def _device_ms(self, now_ns: int) -> int:
        since_boot_ns = (now_ns - self._booted_ns) * (1.0 + self._firmware.skew)
        return (self._firmware.first_ms + round(since_boot_ns) // _NS_PER_MS) & U32

    def _fields(self, kind: type[Any], state: HardwareState) -> tuple[Any, ...] | None:
        """Return what a report says besides its stamp; None: the machine has nothing of the kind."""
        if kind is HeadingReport:
            return (*_compass_fields(state), state.calibration)
        if kind is CountsReport:
            return tuple(
                _signed(now - then) for now, then in zip((state.left, state.right), self._counts_at_boot, strict=True)
            )
        if kind is BatteryReport:
            return round(state.volts * 1000), round(state.amps * 1000)
        if kind is JawsReport:
            return _jaws_fields(state)
        if kind is Identity:
            return round(self._firmware.max_duty * 1000), self._firmware.name
        return self._answer_fields() if kind is Acknowledgement else None

    def _answer_fields(self) -> tuple[Any, ...]:
        letter = next(iter(self._answers))
        return (letter, *self._answers.pop(letter), *self._duty)


def _is_in_range(command: Command) -> bool:
    if isinstance(command, MotorCommand):
        return abs(command.left_permille) <= 1000 and abs(command.right_permille) <= 1000
    return command.pulse_us == 0 or SHORTEST_PULSE_US <= command.pulse_us <= LONGEST_PULSE_US


def _compass_fields(state: HardwareState) -> tuple[int, int]:
    return round(field_to_compass(state.heading) * 100) % 36000, round(-math.degrees(state.rate) * 100)


def _jaws_fields(state: HardwareState) -> tuple[int | None, int | None] | None:
    if state.opening is None and state.holding is None:
        return None
    opening = None if state.opening is None else round(state.opening * 1000)
    return opening, None if state.holding is None else int(state.holding)


def _signed(count: int) -> int:
    return (count + (1 << 31)) % (1 << 32) - (1 << 31)


class Emulator:
    """A co-processor behind a pseudo-terminal, in a thread of its own; the robot file's ``port:`` names ``path``.

    Any thread may call its methods.

    Args:
        machine: what drives, turns and grips; only the emulator's thread calls it.
        path: a symbolic link made there leads to the pseudo-terminal, so that the name outlives unplugging.
        now_ns: the clock; one that runs faster than real time makes the whole device faster.
        firmware: settings of the device.
        baud: bits a second of the line, by ``now_ns``.
        seed: of the sizes of the pieces in which bytes are delivered.
    """

    def __init__(
        self,
        machine: EmulatedHardware,
        path: Path,
        now_ns: Callable[[], int] = time.monotonic_ns,
        firmware: Firmware | None = None,
        baud: int = 115200,
        seed: int = 0,
    ) -> None:
        self.path = path
        self._now_ns = now_ns
        self._bytes_per_ns = baud / 10 / _NS_PER_S
        self._random = random.Random(seed)
        self._lock = threading.Lock()
        self._processor = CoProcessor(machine, now_ns(), firmware)
        self._plug: _Plug | None = _Plug(path)
        self._plugged_again_ns = 0
        self._upwards, self._downwards = bytearray(), bytearray()
        self._up_credit = self._down_credit = 0.0
        self._closing = threading.Event()
        self._thread = threading.Thread(target=self._run, name=f"emulator {path}", daemon=True)
        self._thread.start()

    @property
    def applied(self) -> tuple[Applied, ...]:
        """Every change of the motors' duty so far, oldest first."""
        return tuple(self._processor.applied)

    @property
    def damage(self) -> Counter[Damage]:
        """What was wrong with the bytes that the device received since its boot."""
        with self._lock:
            return self._processor.damage

    @property
    def boot(self) -> int:
        """Number of the present boot."""
        return self._processor.boot

    def reboot(self) -> None:
        """Restart the device; the line stays up, a sentence under way is cut short."""
        with self._lock:
            self._upwards.clear()
            self._downwards.clear()
            self._processor.reboot(self._now_ns())

    def unplug(self, seconds: float) -> None:
        """Take the line away for a time by the emulator's clock; the device stays powered and its deadline runs."""
        with self._lock:
            if self._plug is not None:
                self._plug.pull()
            self._plug = None
            self._plugged_again_ns = self._now_ns() + round(seconds * _NS_PER_S)

    def close(self) -> None:
        """Take the line away for good; a second call does nothing."""
        self._closing.set()
        self._thread.join()
        with self._lock:
            if self._plug is not None:
                self._plug.pull()
            self._plug = None

    def _run(self) -> None:
        last_ns = due_ns = self._now_ns()
        while not self._closing.is_set():
            now_ns = self._now_ns()
            if now_ns < due_ns:
                time.sleep(_TICK_S)
                continue
            with self._lock:
                self._tick(now_ns, now_ns - last_ns)
            last_ns = now_ns
            due_ns = max(due_ns + _TICK_NS, now_ns)

    def _tick(self, now_ns: int, elapsed_ns: int) -> None:
        self._replug(now_ns)
        # What the device has no room for stays in the host's own queue, as on a real line.
        if self._plug is not None and len(self._downwards) < _BUFFER:
            self._downwards += self._plug.read()
        earned = elapsed_ns * self._bytes_per_ns
        received, self._down_credit = transmit(self._downwards, self._down_credit + earned)
        self._processor.feed(received, now_ns)
        reports = self._processor.due(now_ns)
        if len(self._upwards) < _BUFFER:
            self._upwards += reports
        sent, self._up_credit = transmit(self._upwards, self._up_credit + earned)
        if self._plug is not None:
            self._plug.write(self._in_pieces(sent))

    def _replug(self, now_ns: int) -> None:
        if self._plug is None and now_ns >= self._plugged_again_ns:
            self._plug = _Plug(self.path)
            self._downwards.clear()

    def _in_pieces(self, sent: bytes) -> list[bytes]:
        pieces = []
        while sent:
            size = self._random.randint(1, 31)
            pieces.append(sent[:size])
            sent = sent[size:]
        return pieces


def transmit(queue: bytearray, credit: float) -> tuple[bytes, float]:
    """Return what the line carries of ``queue`` for ``credit`` bytes of time, and the credit left.

    An idle line saves nothing up, so the credit left is less than a byte.
    """
    size = min(len(queue), int(credit))
    sent = bytes(queue[:size])
    del queue[:size]
    return sent, credit - size if queue else min(credit - size, 0.999)


class _Plug:
    """One pseudo-terminal under a lasting name."""

    def __init__(self, path: Path) -> None:
        self._near, self._far = os.openpty()
        tty.setraw(self._far)
        os.set_blocking(self._near, False)
        self._path = path
        new = path.with_name(path.name + ".new")
        new.unlink(missing_ok=True)
        new.symlink_to(os.ttyname(self._far))
        new.replace(path)

    def read(self) -> bytes:
        """Return what has been written at the other end."""
        ready, _, _ = select.select([self._near], [], [], 0.0)
        return os.read(self._near, 4096) if ready else b""

    def write(self, pieces: list[bytes]) -> None:
        """Write pieces one by one; what nobody reads is lost, as on a wire."""
        with contextlib.suppress(BlockingIOError):
            for piece in pieces:
                os.write(self._near, piece)

    def pull(self) -> None:
        """Hang up: the other end sees the end of the line."""
        self._path.unlink(missing_ok=True)
        os.close(self._near)
        os.close(self._far)
