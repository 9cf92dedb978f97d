"""The datagrams between the guard and its clients: values to bytes and back, nothing else.

Each is ``RG``, a version, a kind, the fields of the kind (little-endian, fixed size; only `Received` has bytes
behind them) and a CRC-16/IBM-3740, the polynomial of the serial sentences, over all that. Times are the host's
monotonic nanoseconds, which all processes of a machine share.
"""

import binascii
import struct
from enum import IntEnum
from typing import Any, NamedTuple, get_type_hints

from rover.stopping import Phase

MAGIC = b"RG"
VERSION = 2
MOST_BYTES = 1024
"""Received serial bytes in one datagram."""
NOBODY = 0
"""The session number that no client has."""
_NO_PULSE = 0xFFFF
_TEXT_BYTES = 160


class DatagramError(ValueError):
    """Bytes that are no datagram of ours."""


class Ask(IntEnum):
    """What a client may ask for. Any local client may stop."""

    HELLO = 1  # tell me the state
    LISTEN = 2  # and pass on what the serial line says
    STOP = 3
    PRESS_RESET = 4
    RELEASE_RESET = 5
    RESUME = 6
    ENABLE = 7
    GOODBYE = 8
    HOLD = 9


class Ruling(IntEnum):
    """What the guard did with a command."""

    ACCEPTED = 0
    STOPPED = 1  # motion is not permitted now
    NOT_ENABLED = 2  # its sender has not enabled motion, or another one has
    OLD = 3  # its sequence is not above the last one's
    EXPIRED = 4
    STALE = 5  # stamped longer ago than the deadline
    FUTURE = 6  # stamped later than now: not this machine's clock
    INVALID = 7  # a duty outside -1 to 1, or a pulse that no servo takes
    NO_OUTPUT = 8  # the actuator is not there


class Command(NamedTuple):
    """Duty of the wheels (-1 to 1, forwards positive) and servo pulse (us; 0: limp, None: as it was)."""

    session: int
    sequence: int
    stamp_ns: int
    expires_ns: int
    left: float
    right: float
    pulse_us: int | None = None


class Request(NamedTuple):
    """What a client asks for; ``cause`` says why, in words for a person, where it is a stop."""

    session: int
    ask: Ask
    cause: str = ""


class Answer(NamedTuple):
    """What became of a command, and the duty that the wheels have been given at ``now_ns``."""

    session: int
    sequence: int
    verdict: Ruling
    left: float
    right: float
    now_ns: int


class State(NamedTuple):
    """How the guard stands.

    Attributes:
        now_ns: when it was so.
        phase: where the permission to move stands.
        input_open: the stop input is open, which means stop.
        ran_out: no valid command came within the deadline, so the wheels stand still.
        output_open: the actuator is there and answers.
        permit_holder: session whose commands count, `NOBODY` before anyone enabled motion.
        restarts: how often the supervisor had to start the guard again.
        left, right: duty that the wheels have been given.
        cause: why nothing moves.
        note: what is wrong with the actuator, or why the last request was refused.
        ways_to_zero: the independent ones that work at present, with ", " between them.
        watchdog_fault: why the hardware watchdog that the robot file names does not watch.
    """

    now_ns: int
    phase: Phase
    input_open: bool
    ran_out: bool
    output_open: bool
    permit_holder: int
    restarts: int
    left: float
    right: float
    cause: str
    note: str
    ways_to_zero: str = ""
    watchdog_fault: str = ""


class Received(NamedTuple):
    """Bytes from the serial line, when they were read, and how many were lost before them since the last datagram."""

    received_ns: int
    lost: int
    data: bytes


Datagram = Command | Request | Answer | State | Received


class Layout(NamedTuple):
    """A kind of datagram: the value it carries, and the code of its fields for `struct`."""

    value: type[Any]
    code: str


LAYOUTS = {
    1: Layout(Command, "<IIqqddH"),
    2: Layout(Request, f"<IB{_TEXT_BYTES}s"),
    3: Layout(Answer, "<IIBddq"),
    4: Layout(State, "<qB???IIdd" + 4 * f"{_TEXT_BYTES}s"),
    5: Layout(Received, "<qI"),
}
_KINDS = {layout.value: kind for kind, layout in LAYOUTS.items()}
_STRUCTS = {kind: struct.Struct(layout.code) for kind, layout in LAYOUTS.items()}
_CONVERSIONS: dict[int, tuple[tuple[int, Any], ...]] = {
    kind: tuple(
        (index, of)
        for index, of in enumerate(get_type_hints(layout.value).values())
        if of not in (int, float, bool, bytes)
    )
    for kind, layout in LAYOUTS.items()
}
"""By kind, which fields are not what `struct` takes and gives, and what they are."""
_HEAD = struct.Struct("<2sBB")
_CRC = struct.Struct("<H")
LONGEST = _HEAD.size + _STRUCTS[4].size + MOST_BYTES + _CRC.size


def encode(value: Datagram) -> bytes:
    """Return the datagram that carries ``value``.

    Raises:
        ValueError: a field does not fit.
    """
    kind = _KINDS[type(value)]
    more = value.data if isinstance(value, Received) else b""
    items: list[Any] = list(value[:-1] if isinstance(value, Received) else value)
    for index, _ in _CONVERSIONS[kind]:
        items[index] = _to_field(items[index])
    try:
        body = _HEAD.pack(MAGIC, VERSION, kind) + _STRUCTS[kind].pack(*items) + more
    except struct.error as error:
        raise ValueError(f"{value!r} does not fit in a datagram ({error})") from None
    return body + _CRC.pack(_crc16(body))


def _to_field(item: Any) -> Any:
    if isinstance(item, str):
        return item.encode()[:_TEXT_BYTES]
    return _NO_PULSE if item is None else item


def decode(datagram: bytes) -> Datagram:
    """Return the value in a datagram.

    Raises:
        DatagramError: it is not one of ours, or damaged; the message says how.
    """
    if len(datagram) < _HEAD.size + _CRC.size or datagram[:2] != MAGIC:
        raise DatagramError(f"not a datagram of the guard: {datagram[:16]!r}")
    body, (crc,) = datagram[: -_CRC.size], _CRC.unpack(datagram[-_CRC.size :])
    if crc != _crc16(body):
        raise DatagramError("its CRC does not fit")
    _, version, kind = _HEAD.unpack_from(body)
    if version != VERSION or kind not in LAYOUTS:
        raise DatagramError(f"version {version}, kind {kind}: sender and guard are of different releases")
    return _read(kind, body[_HEAD.size :])


def _read(kind: int, body: bytes) -> Datagram:
    made, fields = LAYOUTS[kind].value, _STRUCTS[kind]
    more = body[fields.size :]
    if len(body) < fields.size or (more and made is not Received) or len(more) > MOST_BYTES:
        raise DatagramError(f"{len(body)} bytes do not make a {made.__name__}")
    items: list[Any] = list(fields.unpack_from(body))
    try:
        for index, of in _CONVERSIONS[kind]:
            items[index] = _from_field(of, items[index])
    except ValueError as error:
        raise DatagramError(str(error)) from None
    value: Datagram = made(*items, more) if made is Received else made(*items)
    return value


def _from_field(of: Any, field: Any) -> Any:
    if of is str:
        return field.rstrip(b"\0").decode(errors="ignore")
    if of == int | None:
        return None if field == _NO_PULSE else field
    return of(field)


def _crc16(body: bytes) -> int:
    return binascii.crc_hqx(body, 0xFFFF)
