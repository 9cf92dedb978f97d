"""Framing and checksums of the sentences on the serial link: bytes to bodies and back; `sentences` has the format."""

import binascii
import re
from collections import Counter
from enum import Enum
from functools import reduce
from operator import xor

LONGEST = 82


class Damage(Enum):
    """What was wrong with received bytes; the value is how a person reads it."""

    GARBAGE = "bytes outside a sentence"
    CUT_SHORT = "sentence cut short by the start of another"
    TOO_LONG = "sentence longer than 82 characters"
    FRAME = "not a sentence"
    CHECKSUM = "checksum does not fit"
    CRC = "CRC does not fit"
    FIELDS = "wrong fields"
    UNKNOWN = "sound sentence of a kind we do not read"


class SentenceError(ValueError):
    """A line that carries no value for us; ``damage`` tells what to count it as."""

    def __init__(self, damage: Damage, detail: str) -> None:
        super().__init__(f"{damage.value}: {detail}")
        self.damage = damage


def checksum(body: str) -> str:
    """Return the XOR of the characters between ``$`` and ``*`` as two hex digits (NMEA 0183)."""
    return f"{reduce(xor, body.encode('ascii'), 0):02X}"


def crc16(text: str) -> str:
    """Return the CRC-16/IBM-3740 (poly 1021, init FFFF, not reflected) as four hex digits."""
    return f"{binascii.crc_hqx(text.encode('ascii'), 0xFFFF):04X}"


def frame(body: str) -> bytes:
    """Return ``$body*hh`` with CR LF."""
    return f"${body}*{checksum(body)}\r\n".encode("ascii")


_FRAMED = re.compile(rb"\$([ -#%-)+-~]{1,77})\*([0-9A-Fa-f]{2})(?:\r\n?|\n)?")


def unframe(line: bytes) -> str:
    """Return what stands between ``$`` and ``*`` in a line, with or without its line end.

    Raises:
        SentenceError: it is no sentence, or its checksum does not fit.
    """
    match = _FRAMED.fullmatch(line)
    if match is None:
        damage = Damage.TOO_LONG if len(line) > LONGEST else Damage.FRAME
        raise SentenceError(damage, f"{line[: LONGEST + 1]!r}")
    body = match[1].decode("ascii")
    given = match[2].decode("ascii").upper()
    if given != checksum(body):
        raise SentenceError(Damage.CHECKSUM, f"'{body}' has {given}, not {checksum(body)}")
    return body


_MARKS = re.compile(rb"([$\r\n])")


class Framer:
    """Cuts a stream of bytes into lines ``$...`` (line end taken off), and counts what it has to throw away.

    It takes chunks of any size, starts afresh at each ``$``, and never keeps more than one line.

    Attributes:
        damage: how often each kind of damage was met; `Damage.GARBAGE` counts bytes, the others sentences.
    """

    def __init__(self) -> None:
        self.damage: Counter[Damage] = Counter()
        self._line = bytearray()

    def feed(self, chunk: bytes) -> list[bytes]:
        """Return the lines that ``chunk`` completes, in order."""
        lines = []
        for part in _MARKS.split(chunk):
            if part == b"$":
                self._start()
            elif part not in (b"\r", b"\n"):
                self._extend(part)
            elif self._line:
                lines.append(bytes(self._line))
                self._line.clear()
        return lines

    def _start(self) -> None:
        if self._line:
            self._discard(Damage.CUT_SHORT)
        self._line.append(ord("$"))

    def _extend(self, part: bytes) -> None:
        if self._line:
            taken = LONGEST - len("\r\n") + 1 - len(self._line)
            self._line += part[:taken]
            if len(part) < taken:
                return
            self._discard(Damage.TOO_LONG)
            part = part[taken:]
        if part:
            self.damage[Damage.GARBAGE] += len(part)

    def _discard(self, damage: Damage) -> None:
        self.damage[damage] += 1
        self.damage[Damage.GARBAGE] += len(self._line)
        self._line.clear()
