"""The sentences on the serial link: what they carry, and their format.

Framing is that of NMEA 0183 (``$`` + body + ``*hh`` CR LF, at most 82 characters, ``hh`` the XOR of the body), so
a terminal shows it and any sender can make it. HDT, HDG, HDM and ROT are understood from any talker. Our own
sentences begin with ``PXFR`` and a letter and end with a CRC-16/IBM-3740 field of four hex digits over what
stands between ``$`` and that field's comma: eight bits of XOR let too much noise through to steer motors by.
All their fields are whole decimal numbers, so that a microcontroller needs no floating point; optional ones may
be left empty. Signs of heading and rate are those of a compass (clockwise), as in the standard sentences.

Each upward sentence starts with its own sequence number (one counter a letter, wraps at 65536), the device's
milliseconds since its boot (wraps at 2^32) and the boot number. Each command starts with the sender's session,
so that a restarted sender may count from the beginning while a repeated old command stays refused.

Revision 2 added a field to each command, and to the identity, by which a device says that it reads the other: until
when, by the device's own milliseconds, a command may be obeyed, so that one which waited in a stalled line is not
obeyed late. Each is left out altogether where it has no value; devices and senders of revision 1 stay as they are.

`UPWARDS` and `DOWNWARDS` are the table of our own. Rates are the highest that the device or the host may send at;
`load` adds them up. ``cdeg`` is hundredths of a degree, ``cdps`` hundredths of a degree a second, ``pulse_us`` 0 lets
the servo go limp, ``lasts_ms`` is the time that the command has left.
"""

import math
import re
from enum import IntEnum
from typing import Any, NamedTuple

from rover.link.framing import Damage, SentenceError
from rover.quantities import compass_to_field

U16 = 0xFFFF
U32 = 0xFFFF_FFFF


class Acceptance(IntEnum):
    """What the device did with a command."""

    ACCEPTED = 0
    STALE = 1  # its sequence is not above the last accepted one
    INVALID = 2  # a field out of range
    EXPIRED = 3  # no time left on arrival
    OTHER_SESSION = 4  # another sender's command is still running
    LAPSED = 5  # accepted before; its time has passed since and the motors are at zero


class HeadingReport(NamedTuple):
    """Heading (hundredths of a degree, clockwise from north) and rate (hundredths of deg/s, clockwise positive)."""

    sequence: int
    device_ms: int
    boot: int
    heading_cdeg: int | None
    rate_cdps: int | None
    calibration: int | None


class CountsReport(NamedTuple):
    """Cumulative encoder counts of the two channels since boot, signed 32-bit with wrap."""

    sequence: int
    device_ms: int
    boot: int
    left: int
    right: int


class BatteryReport(NamedTuple):
    """Terminal voltage (mV) and, where it is measured, current drawn (mA)."""

    sequence: int
    device_ms: int
    boot: int
    millivolts: int
    milliamps: int | None


class JawsReport(NamedTuple):
    """Jaw opening (0 closed to 1000 open) and whether they hold something (0, 1), each where it is measured."""

    sequence: int
    device_ms: int
    boot: int
    opening_permille: int | None
    holding: int | None


class Identity(NamedTuple):
    """The highest duty the device gives its motors, its firmware's name and version, and its sentences' revision."""

    sequence: int
    device_ms: int
    boot: int
    max_duty_permille: int
    firmware: str
    revision: int | None = None


class Acknowledgement(NamedTuple):
    """The last command of a letter, its `Acceptance`, and the duty that the two channels have now."""

    sequence: int
    device_ms: int
    boot: int
    command: str
    command_sequence: int
    verdict: int
    left_permille: int
    right_permille: int


class MotorCommand(NamedTuple):
    """Duty of the two channels (-1000 to 1000) for at most ``lasts_ms`` from arrival, nor beyond ``until_ms``."""

    session: int
    sequence: int
    left_permille: int
    right_permille: int
    lasts_ms: int
    until_ms: int | None = None


class ServoCommand(NamedTuple):
    """Pulse width of the gripper servo (us; 0: limp); begins up to ``lasts_ms`` from arrival, not at ``until_ms``."""

    session: int
    sequence: int
    pulse_us: int
    lasts_ms: int
    until_ms: int | None = None


class TrueHeading(NamedTuple):
    """Heading from true north (deg, clockwise), of HDT or an HDG with variation; None: the compass has none."""

    degrees: float | None


class MagneticHeading(NamedTuple):
    """Heading from magnetic north (deg, clockwise), of HDM or an HDG without variation; None: the compass has none."""

    degrees: float | None


class RateOfTurn(NamedTuple):
    """Rate of turn of ROT (deg/min, minus: to port, that is counter-clockwise); None: not valid."""

    degrees_per_minute: float | None

    @property
    def rate(self) -> float | None:
        """The rate in rad/s, counter-clockwise positive."""
        return None if self.degrees_per_minute is None else -math.radians(self.degrees_per_minute) / 60.0


Report = HeadingReport | CountsReport | BatteryReport | JawsReport | Identity | Acknowledgement
Command = MotorCommand | ServoCommand
Standard = TrueHeading | MagneticHeading | RateOfTurn
Sentence = Report | Command | Standard


class Number(NamedTuple):
    """A field with a whole number from ``low`` to ``high``.

    Attributes:
        optional: it may be empty, and is None then.
        added: by revision 2, at the end; it may be missing, and is None then.
    """

    low: int
    high: int
    optional: bool = False
    added: bool = False

    @property
    def width(self) -> int:
        """The most characters it takes."""
        return max(len(str(self.low)), len(str(self.high)))

    def write(self, name: str, value: Any) -> str:
        """Return the field's text; raises ValueError outside the range."""
        if value is None and self.optional:
            return ""
        if not isinstance(value, int) or not self.low <= value <= self.high:
            raise ValueError(f"{name} is {value!r}; a whole number from {self.low} to {self.high} is due")
        return str(int(value))

    def read(self, name: str, text: str) -> int | None:
        """Return the field's value; raises SentenceError."""
        if not text and self.optional:
            return None
        if not re.fullmatch(r"-?[0-9]{1,10}", text) or not self.low <= int(text) <= self.high:
            raise SentenceError(Damage.FIELDS, f"{name} is '{text}', due: {self.low} to {self.high}")
        return int(text)


class Word(NamedTuple):
    """A field with letters, digits, blanks, points, hyphens and underscores."""

    width: int

    def write(self, name: str, value: Any) -> str:
        """Return the field's text; raises ValueError for other characters or too many."""
        if not isinstance(value, str) or not self._fits(value):
            raise ValueError(f"{name} is {value!r}; up to {self.width} letters, digits or ' ._-' are due")
        return value

    def read(self, name: str, text: str) -> str:
        """Return the field's value; raises SentenceError."""
        if not self._fits(text):
            raise SentenceError(Damage.FIELDS, f"{name} is '{text}'")
        return text

    def _fits(self, text: str) -> bool:
        return re.fullmatch(rf"[A-Za-z0-9 ._-]{{1,{self.width}}}", text) is not None


class Layout(NamedTuple):
    """One kind of our own sentences: letter, value, highest rate (Hz), and what each of the value's fields may hold."""

    letter: str
    value: type[Any]
    rate_hz: int
    fields: tuple[Number | Word, ...]

    @property
    def added(self) -> int:
        """How many fields at the end may be missing."""
        return sum(isinstance(field, Number) and field.added for field in self.fields)

    @property
    def width(self) -> int:
        """The most characters of the whole sentence, ``$`` and CR LF included."""
        return len("$PXFR?") + sum(1 + field.width for field in self.fields) + len(",CCCC*hh\r\n")


_STAMP = (Number(0, U16), Number(0, U32), Number(0, U16))
_ADDRESSED = (Number(0, U16), Number(0, U32))
# Wider than the +-1000 that means something: a device shall be able to refuse a wrong duty, not only miss it.
_DUTY = (Number(-32768, 32767), Number(-32768, 32767))
_COUNT = (Number(-(2**31), 2**31 - 1), Number(-(2**31), 2**31 - 1))

UPWARDS = (
    Layout("H", HeadingReport, 20, (*_STAMP, Number(0, 35999, True), Number(-99999, 99999, True), Number(0, 3, True))),
    Layout("C", CountsReport, 50, (*_STAMP, *_COUNT)),
    Layout("B", BatteryReport, 2, (*_STAMP, Number(0, U16), Number(-99999, 99999, True))),
    Layout("J", JawsReport, 10, (*_STAMP, Number(0, 1000, True), Number(0, 1, True))),
    Layout("I", Identity, 1, (*_STAMP, Number(0, 1000), Word(20), Number(2, 9, added=True))),
    Layout("A", Acknowledgement, 20, (*_STAMP, Word(1), Number(0, U32), Number(0, 5), *_DUTY)),
)
DOWNWARDS = (
    Layout("M", MotorCommand, 50, (*_ADDRESSED, *_DUTY, Number(0, U16), Number(0, U32, added=True))),
    Layout("S", ServoCommand, 20, (*_ADDRESSED, Number(0, U16), Number(0, U16), Number(0, U32, added=True))),
)


def load(layouts: tuple[Layout, ...], baud: int) -> float:
    """Return the share of a line (10 bits a byte) that these sentences take at their longest and fastest."""
    return sum(layout.width * layout.rate_hz for layout in layouts) * 10 / baud


def compass_angle(heading: HeadingReport | TrueHeading | MagneticHeading) -> float | None:
    """Return the field angle (rad, counter-clockwise from +x = east) of a heading sentence, None where it has none."""
    degrees = _compass_degrees(heading)
    return None if degrees is None else compass_to_field(degrees)


def _compass_degrees(heading: HeadingReport | TrueHeading | MagneticHeading) -> float | None:
    if not isinstance(heading, HeadingReport):
        return heading.degrees
    return None if heading.heading_cdeg is None else heading.heading_cdeg / 100.0
