"""The co-processor on a serial line, as the guard writes to it: the one writer of motor and servo commands.

Nothing waits before the end, and the newest message of each kind goes first.
"""

import time
from collections.abc import Callable, Mapping
from typing import Any

from rover.devices.sides import Sides
from rover.guard.composer import CommandComposer
from rover.guard.device_time import DeviceTime
from rover.guard.output import Duties
from rover.guard.serial_line import MOTORS, SERVO, SerialLine
from rover.link.codec import decode
from rover.link.framing import LONGEST, Framer, SentenceError
from rover.link.sentences import U32, Acceptance, Acknowledgement, Report

FIRST_ANSWER_DUE = "has not answered yet"
ANSWER_WITHIN_NS = 500_000_000
"""A device answers 20 times a second; after this much silence what is sent only fills a queue, to be obeyed late."""
UNDERSTOOD_WITHIN_NS = 220_000_000
"""Wheels that turn are stopped when no sentence of the device has been understood for so long: it may still obey, but
what it does cannot be seen any more.

From above: zero within 300 ms after the line fell silent. Up to 20 ms pass until the next command is due an answer,
and as long until the guard reads the line again; at 9600 baud the sentence of the zero takes 37 ms.
From below, with the 20 ms for reading taken off: a device that sends its answers alone, 20 a second, may lose two in a
row. One that reports counts and heading as well sends 90 sentences a second; with one in ten damaged it never loses 18
in a row. At 9600 baud, where a sentence takes up to 71 ms, one may be lost."""
REPEAT_SERVO_NS = 100_000_000
_LOOKED_AT = (b"$PXFRA,", b"$PXFRI,")
"""Answers, and what the device says of itself; of all else one in so many ms is enough."""
_LOOK_EVERY_NS = 50_000_000
MISSED_FOR_MS = 180
"""Sequences are milliseconds. A command that ran out although others were sent so much later was the last one to come
through; one that nobody renewed in time is among the last that were sent, and is heard of within 75 ms."""
_LAST_TRIES, _LAST_PAUSE_S = 25, 0.002


class Answers:
    """What the device answers to motor commands, and that it is understood; all else that comes in is for the runtime.

    Args:
        device_time: is told what each report says of the device's own.

    Attributes:
        has_come: there has been an answer since the line was opened.
    """

    def __init__(self, device_time: DeviceTime) -> None:
        self.has_come = False
        self._device_time = device_time
        self._understood_ns = 0
        self._begun = b""
        self._last_sent = 0
        self._lapsed: int | None = None
        self._unanswered: tuple[int, int] | None = None

    def is_overdue(self, now_ns: int) -> bool:
        """Tell whether the device has left a command unanswered for too long."""
        return self._unanswered is not None and now_ns - self._unanswered[1] > ANSWER_WITHIN_NS

    def is_silent(self, now_ns: int) -> bool:
        """Tell whether nothing has been understood for too long while an answer was due."""
        if self._unanswered is None:
            return False
        return now_ns - max(self._understood_ns, self._unanswered[1]) > UNDERSTOOD_WITHIN_NS

    def expect(self, sequence: int, now_ns: int) -> None:
        """Note that a command has been sent."""
        self._last_sent = sequence
        if self._unanswered is None:
            self._unanswered = (sequence, now_ns)

    def look_for(self, chunk: bytes, now_ns: Callable[[], int]) -> None:
        """Look for answers in the bytes that came in, and whether any of our own sentences can be understood."""
        begun = self._begun + chunk
        ended = max(begun.rfind(b"\r"), begun.rfind(b"\n")) + 1
        # Whoever sends no line end sends no sentence; what is kept is cut, as the longest sentence is.
        whole, self._begun = begun[:ended], begun[ended:][-LONGEST:]
        # Cutting all that comes in into lines would cost as much as all the rest of a turn.
        if whole and (any(head in whole for head in _LOOKED_AT) or self._is_one_due(now_ns())):
            self._take_lines(whole, now_ns)

    def _is_one_due(self, now_ns: int) -> bool:
        return now_ns - self._understood_ns > _LOOK_EVERY_NS

    def _take_lines(self, whole: bytes, now_ns: Callable[[], int]) -> None:
        for line in Framer().feed(whole):
            if line.startswith(_LOOKED_AT) or self._is_one_due(now_ns()):
                self._take(line, now_ns)

    def _take(self, line: bytes, now_ns: Callable[[], int]) -> None:
        try:
            value = decode(line)
        except SentenceError:
            return
        # Standard sentences bear eight bits of checksum: one in two hundred damaged ones would pass for understood.
        if isinstance(value, Report):
            self._understood_ns = now_ns()
            self._device_time.hear(value, self._understood_ns)
        if isinstance(value, Acknowledgement) and value.command == "M":
            self._settle(value.command_sequence, now_ns())
            is_behind = MISSED_FOR_MS < (self._last_sent - value.command_sequence) & U32 < 1 << 31
            if value.verdict == Acceptance.LAPSED and is_behind:
                self._lapsed = value.command_sequence

    def take_lapsed(self) -> int | None:
        """Return the command that ran out at the device, since the last call, though later ones had been sent to it."""
        lapsed, self._lapsed = self._lapsed, None
        return lapsed

    def _settle(self, sequence: int, now_ns: int) -> None:
        """Take an answer off what is still to be answered."""
        if self._unanswered is not None and _is_from(sequence, self._unanswered[0]):
            self.has_come = True
            # What was sent since is still to be answered, though it may not even have left this process.
            is_last = _is_from(sequence, self._last_sent)
            self._unanswered = None if is_last else (sequence + 1, now_ns)


class SerialOutput:
    """The co-processor, commanded in one session.

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
        self._device_time = DeviceTime()
        self._answers = Answers(self._device_time)
        self._composer = CommandComposer(session, self._device_time)
        self._sides, self._now_ns = Sides(settings), now_ns
        self._moving = self._turning = False
        self._zeroed = 0
        self._servo_sent = (-1, 0)

    @property
    def fault(self) -> str:
        """What is wrong, in words for a person; empty when nothing is."""
        if not self._line.is_open:
            return self._line.trouble
        device = f"the co-processor on {self._line.path}"
        if not self._answers.has_come:
            return f"{device} {FIRST_ANSWER_DUE}; check its power, and 'baud:' in the robot file"
        now_ns = self._now_ns()
        if self._answers.is_overdue(now_ns):
            return f"{device} does not answer"
        is_lost = self._turning and self._answers.is_silent(now_ns)
        return f"{device} has not been understood for {UNDERSTOOD_WITHIN_NS // 1_000_000} ms" if is_lost else ""

    def alarm(self) -> str:
        """Return what happened since the last call that has to stop the wheels though it is over, or ''."""
        device, lapsed = f"the co-processor on {self._line.path}", self._answers.take_lapsed()
        if self._device_time.take_restart():
            return f"{device} has restarted"
        # A pause of whoever commands ends in a zero that is sent, and is no fault of the line.
        is_ours = lapsed is None or _is_from(self._zeroed, lapsed)
        return "" if is_ours or not self._turning else f"{device} stood: commands came too late to it"

    def drive(self, left: float, right: float, until_ns: int) -> Duties:
        """Send the duties with the time left until ``until_ns``."""
        channels = self._sides.to_channels(_permille(left), _permille(right))
        self._turning = channels != (0, 0)
        self._moving = self._moving or self._turning
        self._line.put(MOTORS, lambda now_ns: self._expected(self._composer.motors(channels, now_ns, until_ns), now_ns))
        return left, right

    def zero(self) -> None:
        """Bring the wheels to zero, ahead of all that waits here or in the kernel's queue."""
        if self._moving or self._answers.is_overdue(self._now_ns()):
            self._line.discard()
        self._moving = self._turning = False
        self._line.put(MOTORS, self._zero)

    def _zero(self, now_ns: int) -> bytes | None:
        sentence = self._expected(self._composer.zero(now_ns), now_ns)
        self._zeroed = self._composer.sequence
        return sentence

    def servo(self, pulse_us: int, until_ns: int) -> None:
        """Send a pulse width; one that changes nothing goes out ten times a second at most."""
        sent_us, sent_ns = self._servo_sent
        now_ns = self._now_ns()
        if pulse_us == sent_us and now_ns - sent_ns < REPEAT_SERVO_NS:
            return
        self._servo_sent = (pulse_us, now_ns)
        self._line.put(SERVO, lambda now_ns: self._composer.servo(pulse_us, now_ns, until_ns))

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
        self._device_time.forget()
        self._answers, self._moving = Answers(self._device_time), False
        self._line.discard()
        self.zero()
        return self._line.is_open

    def _expected(self, sentence: bytes | None, now_ns: int) -> bytes | None:
        """Return a motor command that is about to be written; an answer to it is expected from then on."""
        if sentence is not None:
            self._answers.expect(self._composer.sequence, now_ns)
        return sentence


def _is_from(sequence: int, first: int) -> bool:
    """Tell whether a 32-bit sequence is the first one or a later one, through a wrap."""
    return (sequence - first) & U32 < 1 << 31


def _permille(share: float) -> int:
    return round(share * 1000)
