"""The judge's sentences, written anew from their description; nothing of the project is imported."""

from typing import NamedTuple

U16 = 0xFFFF


def crc_of(text: bytes) -> int:
    """Return the CRC-16 with polynomial 1021, start FFFF, nothing reflected: 29B1 for '123456789'."""
    crc = 0xFFFF
    for byte in text:
        crc ^= byte << 8
        for _ in range(8):
            crc = (crc << 1) ^ 0x1021 if crc & 0x8000 else crc << 1
        crc &= U16
    return crc


def xor_of(text: bytes) -> int:
    """Return the exclusive or of all bytes, which stands behind the asterisk."""
    total = 0
    for byte in text:
        total ^= byte
    return total


def sentence(letter: str, *fields: object) -> bytes:
    """Return a sentence of ours."""
    body = ",".join([f"PXFR{letter}", *map(str, fields)]).encode()
    body += b",%04X" % crc_of(body)
    return b"$%b*%02X\r\n" % (body, xor_of(body))


class Command(NamedTuple):
    """A sound command: ``M`` with two duties or ``S`` with a pulse, how long it lasts, and until when of the board."""

    letter: str
    session: int
    sequence: int
    values: tuple[int, ...]
    lasts_ms: int
    until_ms: int | None = None


def command_in(line: bytes) -> Command | None:
    """Return the command in ``$...*hh``, None for anything that is not whole."""
    body, star, checksum = line[1:].partition(b"*")
    covered, comma, crc = body.rpartition(b",")
    try:
        if not (star and comma and int(checksum, 16) == xor_of(body) and int(crc, 16) == crc_of(covered)):
            return None
        kind, *fields = covered.decode("ascii").split(",")
        numbers = [int(field) for field in fields]
    except ValueError:
        return None
    fields_of = {"PXFRM": 5, "PXFRS": 4}
    if len(numbers) - fields_of.get(kind, 9) not in (0, 1):
        return None
    session, sequence, *values = numbers[: fields_of[kind]]
    until_ms = numbers[fields_of[kind]] if len(numbers) > fields_of[kind] else None
    return Command(kind[-1], session, sequence, tuple(values[:-1]), values[-1], until_ms)
