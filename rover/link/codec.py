"""Sentences to values and back; `sentences` has the values and the table of the format."""

import re

from rover.link.framing import Damage, SentenceError, crc16, frame, unframe
from rover.link.sentences import (
    DOWNWARDS,
    UPWARDS,
    Command,
    MagneticHeading,
    RateOfTurn,
    Report,
    Sentence,
    Standard,
    TrueHeading,
)

_BY_LETTER = {layout.letter: layout for layout in UPWARDS + DOWNWARDS}
_BY_VALUE = {layout.value: layout for layout in UPWARDS + DOWNWARDS}


def encode(value: Sentence) -> bytes:
    """Return the sentence that carries ``value``, CR LF included.

    Raises:
        ValueError: a field is out of its range; the message names it.
    """
    return frame(_standard_body(value) if isinstance(value, Standard) else _own_body(value))


def _own_body(value: Report | Command) -> str:
    layout = _BY_VALUE[type(value)]
    missing = sum(item is None for item in value[len(value) - layout.added :])
    named = list(zip(layout.fields, value._fields, value, strict=True))
    fields = ",".join(field.write(name, item) for field, name, item in named[: len(named) - missing])
    body = f"PXFR{layout.letter},{fields}"
    return f"{body},{crc16(body)}"


def _standard_body(value: Standard) -> str:
    number = "" if value[0] is None else f"{value[0]:.2f}"
    match value:
        case TrueHeading():
            return f"HEHDT,{number},T"
        case MagneticHeading():
            return f"HCHDM,{number},M"
        case RateOfTurn():
            return f"HEROT,{number},{'A' if number else 'V'}"


def decode(line: bytes) -> Sentence:
    """Return the value in a line ``$...*hh``, with or without its line end.

    Raises:
        SentenceError: the line is damaged, or of a kind we do not read; ``damage`` says which.
    """
    body = unframe(line)
    return _decode_own(body) if body.startswith("PXFR") else _decode_standard(body)


def _decode_own(body: str) -> Report | Command:
    covered, _, crc = body.rpartition(",")
    if crc.upper() != crc16(covered):
        raise SentenceError(Damage.CRC, f"'{body}' ends in {crc}, not {crc16(covered)}")
    address, *texts = covered.split(",")
    layout = _BY_LETTER.get(address.removeprefix("PXFR"))
    if layout is None:
        raise SentenceError(Damage.UNKNOWN, address)
    if not len(layout.fields) - layout.added <= len(texts) <= len(layout.fields):
        raise SentenceError(Damage.FIELDS, f"{address} has {len(texts)} fields, not {len(layout.fields)}")
    named = zip(layout.fields, layout.value._fields, texts, strict=False)
    value: Report | Command = layout.value(*(field.read(name, text) for field, name, text in named))
    return value


def _decode_standard(body: str) -> Standard:
    address, *fields = body.split(",")
    reader = _STANDARD.get(address[2:]) if len(address) == 5 else None
    if reader is None:
        raise SentenceError(Damage.UNKNOWN, address)
    try:
        return reader(fields)
    except IndexError:
        raise SentenceError(Damage.FIELDS, f"too few fields in '{body}'") from None


def _decimal(text: str) -> float | None:
    if not text:
        return None
    if not re.fullmatch(r"-?([0-9]+\.?[0-9]*|\.[0-9]+)", text):
        raise SentenceError(Damage.FIELDS, f"'{text}' is not a decimal number")
    return float(text)


def _degrees(text: str) -> float | None:
    value = _decimal(text)
    if value is not None and not 0.0 <= value <= 360.0:
        raise SentenceError(Damage.FIELDS, f"a heading of {text} degrees")
    return value


def _letter(text: str, due: str) -> str:
    if len(text) != 1 or text not in due:
        raise SentenceError(Damage.FIELDS, f"'{text}' where one of '{due}' is due")
    return text


def _read_hdt(fields: list[str]) -> TrueHeading:
    _letter(fields[1], "T")
    return TrueHeading(_degrees(fields[0]))


def _read_hdm(fields: list[str]) -> MagneticHeading:
    _letter(fields[1], "M")
    return MagneticHeading(_degrees(fields[0]))


def _read_hdg(fields: list[str]) -> TrueHeading | MagneticHeading:
    sensor, deviation, variation = _degrees(fields[0]), _easterly(fields[1], fields[2]), _easterly(fields[3], fields[4])
    if sensor is None:
        return MagneticHeading(None)
    magnetic = sensor + (deviation or 0.0)
    return MagneticHeading(magnetic % 360.0) if variation is None else TrueHeading((magnetic + variation) % 360.0)


def _easterly(text: str, side: str) -> float | None:
    value = _decimal(text)
    if value is None:
        return None
    return value if _letter(side or " ", "EW") == "E" else -value


def _read_rot(fields: list[str]) -> RateOfTurn:
    status = _letter(fields[1], "AV")
    return RateOfTurn(_decimal(fields[0]) if status == "A" else None)


_STANDARD = {"HDT": _read_hdt, "HDG": _read_hdg, "HDM": _read_hdm, "ROT": _read_rot}
