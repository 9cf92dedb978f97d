"""The co-processor's firmware made of software: bytes and times in, bytes out, so that tests are exact.

It has the command deadline, refuses stale, repeated, expired and invalid commands, reboots, and has a clock of its own.
"""

import math
from collections import Counter
from dataclasses import dataclass
from typing import Any, NamedTuple

from rover.link.codec import decode, encode
from rover.link.emulated_hardware import EmulatedHardware, HardwareState
from rover.link.framing import Damage, Framer, SentenceError
from rover.link.sentences import (
    U16,
    U32,
    UPWARDS,
    Acceptance,
    Acknowledgement,
    BatteryReport,
    Command,
    CountsReport,
    HeadingReport,
    Identity,
    JawsReport,
    Layout,
    MotorCommand,
    ServoCommand,
)
from rover.quantities import field_to_compass

SERVO_LIMP_AFTER_NS = 10_000_000_000
SHORTEST_PULSE_US, LONGEST_PULSE_US = 500, 2500
MOST_AHEAD_MS = 1000
"""A command for later than this is for another boot's milliseconds."""
_NS_PER_MS = 1_000_000
_NS_PER_S = 1_000_000_000


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
        revision: of the sentences that it knows; 1: neither says so in its identity nor reads a command with a time.
    """

    deadline_ms: int | None = 250
    max_duty: float = 1.0
    skew: float = 0.0
    first_ms: int = 0
    name: str = "emulator 1"
    revision: int = 2


class Reports:
    """What the device sends since a boot: when each kind is due, numbered and stamped by the device's own clock."""

    def __init__(self, firmware: Firmware, boot: int, now_ns: int) -> None:
        self._firmware, self._boot, self._booted_ns = firmware, boot, now_ns
        self._sent: Counter[str] = Counter()
        self._next_ns = {layout.letter: now_ns for layout in UPWARDS}

    def is_due(self, layout: Layout, now_ns: int) -> bool:
        """Tell whether a kind is due, and reckon when it is next; periods missed are not made up for."""
        due_ns = self._next_ns[layout.letter]
        if now_ns < due_ns:
            return False
        period_ns = _NS_PER_S // layout.rate_hz
        missed = (now_ns - due_ns) // period_ns
        is_answer = layout.value is Acknowledgement
        self._next_ns[layout.letter] = now_ns + period_ns if is_answer else due_ns + (missed + 1) * period_ns
        return True

    def write(self, layout: Layout, fields: tuple[Any, ...] | None, now_ns: int) -> bytes:
        """Return the sentence with these fields behind its stamp; none without fields."""
        if fields is None:
            return b""
        sequence = self._sent[layout.letter] & U16
        self._sent[layout.letter] += 1
        return encode(layout.value(sequence, self.device_ms(now_ns), self._boot, *fields))

    def device_ms(self, now_ns: int) -> int:
        """Return the device's milliseconds since the boot."""
        since_boot_ns = (now_ns - self._booted_ns) * (1.0 + self._firmware.skew)
        return (self._firmware.first_ms + round(since_boot_ns) // _NS_PER_MS) & U32


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
        self._reports = Reports(self._firmware, self.boot, now_ns)
        self._framer = Framer()
        self._session: int | None = None
        self._last_sequence: dict[type[Command], int] = {}
        self._motors_until_ns: int | None = None
        self._driven_by = 0
        self._servo_until_ns: int | None = None
        self._answers: dict[str, tuple[int, Acceptance]] = {}
        self._duty = (0, 0)
        self._set_duty((0, 0), now_ns)
        self._machine.servo(None, now_ns)
        state = self._machine.sample(now_ns)
        self._counts_at_boot = (state.left, state.right)

    def feed(self, received: bytes, now_ns: int) -> None:
        """Take bytes that came in by now."""
        self._enforce_deadlines(now_ns)
        for line in self._framer.feed(self._machine.from_line(received, now_ns)):
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
        if self._machine.has_restarted():
            self.reboot(now_ns)
        layouts = [layout for layout in UPWARDS if self._answers or layout.value is not Acknowledgement]
        due = [layout for layout in layouts if self._reports.is_due(layout, now_ns)]
        written = [(one.value, self._reports.write(one, self._fields(one.value, state), now_ns)) for one in due]
        return self._machine.onto_line(written, now_ns)

    def _obey(self, command: Command, now_ns: int) -> None:
        if self._firmware.revision < 2 and command.until_ms is not None:
            self._decoder_damage[Damage.FIELDS] += 1
            return
        verdict = self._judge(command, now_ns)
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

    def _judge(self, command: Command, now_ns: int) -> Acceptance:
        if not _is_in_range(command):
            return Acceptance.INVALID
        if _left_ms(command, self._reports.device_ms(now_ns)) <= 0:
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
        lasts_ms = None if deadline_ms is None else min(_left_ms(command, self._reports.device_ms(now_ns)), deadline_ms)
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

    def _fields(self, kind: type[Any], state: HardwareState) -> tuple[Any, ...] | None:
        """Return what a report says besides its stamp; None: the machine has nothing of the kind."""
        if kind is HeadingReport:
            compass_cdeg = round(field_to_compass(state.heading) * 100) % 36000
            rate_cdps = None if state.rate is None else round(-math.degrees(state.rate) * 100)
            return compass_cdeg, rate_cdps, state.calibration
        if kind is CountsReport:
            left, right = self._counts_at_boot
            return _signed(state.left - left), _signed(state.right - right)
        if kind is BatteryReport:
            return round(state.volts * 1000), round(state.amps * 1000)
        if kind is JawsReport:
            return _jaws_fields(state)
        if kind is Identity:
            revision = self._firmware.revision
            return round(self._firmware.max_duty * 1000), self._firmware.name, revision if revision > 1 else None
        letter = next(iter(self._answers))
        return (letter, *self._answers.pop(letter), *self._duty)


def _is_in_range(command: Command) -> bool:
    if isinstance(command, MotorCommand):
        return abs(command.left_permille) <= 1000 and abs(command.right_permille) <= 1000
    return command.pulse_us == 0 or SHORTEST_PULSE_US <= command.pulse_us <= LONGEST_PULSE_US


def _left_ms(command: Command, device_ms: int) -> int:
    """Return how long a command may still be obeyed: from its arrival, and by the time that it names."""
    if command.until_ms is None:
        return command.lasts_ms
    left_ms = _signed(command.until_ms - device_ms)
    return min(command.lasts_ms, left_ms) if left_ms <= MOST_AHEAD_MS else 0


def _jaws_fields(state: HardwareState) -> tuple[int | None, int | None] | None:
    if state.opening is None and state.holding is None:
        return None
    opening = None if state.opening is None else round(state.opening * 1000)
    return opening, None if state.holding is None else int(state.holding)


def _signed(count: int) -> int:
    return (count + (1 << 31)) % (1 << 32) - (1 << 31)
