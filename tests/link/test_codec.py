import contextlib
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.link.codec import decode, encode
from rover.link.framing import LONGEST, Damage, SentenceError, crc16, frame
from rover.link.sentences import (
    DOWNWARDS,
    UPWARDS,
    Identity,
    Layout,
    MagneticHeading,
    MotorCommand,
    Number,
    RateOfTurn,
    Sentence,
    TrueHeading,
    Word,
)

WORD_CHARACTERS = "ABCXYZabcxyz0189 ._-"


def _field_values(field: Number | Word) -> st.SearchStrategy[object]:
    if isinstance(field, Word):
        return st.text(WORD_CHARACTERS, min_size=1, max_size=field.width)
    numbers = st.integers(field.low, field.high)
    return st.none() | numbers if field.optional else numbers


def _values_of(layout: Layout) -> st.SearchStrategy[Sentence]:
    return st.builds(layout.value, *(_field_values(field) for field in layout.fields))


own_values = st.one_of([_values_of(layout) for layout in UPWARDS + DOWNWARDS])
hundredths = st.none() | st.integers(0, 35999).map(lambda n: n / 100)
standard_values = st.one_of(
    st.builds(TrueHeading, hundredths),
    st.builds(MagneticHeading, hundredths),
    st.builds(RateOfTurn, st.none() | st.integers(-72000, 72000).map(lambda n: n / 100)),
)
any_value = own_values | standard_values
MOTORS = MotorCommand(session=7, sequence=41, left_permille=250, right_permille=-250, lasts_ms=200)


@given(any_value)
def test_what_was_encoded_is_decoded(value):
    line = encode(value)

    assert decode(line) == value
    assert len(line) <= LONGEST


def test_a_motor_command_on_the_wire():
    assert encode(MOTORS).startswith(b"$PXFRM,7,41,250,-250,200,")


@given(any_value, st.data())
def test_one_changed_byte_is_never_taken_for_another_value(value, data):
    line = bytearray(encode(value).removesuffix(b"\r\n"))
    position = data.draw(st.integers(0, len(line) - 1))
    line[position] ^= data.draw(st.integers(1, 255))

    try:
        decoded = decode(bytes(line))
    except SentenceError:
        return
    # What remains are the lower-case hex digits that we allow in the checksum.
    assert decoded == value


@pytest.mark.parametrize(
    ("value", "message"),
    [
        (MOTORS._replace(left_permille=40000), "left_permille is 40000; a whole number from -32768 to 32767 is due"),
        (MOTORS._replace(lasts_ms=-1), "lasts_ms is -1; a whole number from 0 to 65535 is due"),
        (Identity(0, 0, 0, 1000, "a,b"), "firmware is 'a,b'; up to 20 letters, digits or ' ._-' are due"),
    ],
)
def test_a_value_out_of_range_is_not_encoded(value, message):
    with pytest.raises(ValueError, match="^" + re.escape(message)):
        encode(value)


def _with_crc(body: str) -> bytes:
    return frame(f"{body},{crc16(body)}")


@pytest.mark.parametrize(
    ("line", "damage"),
    [
        (b"", Damage.FRAME),
        (b"$*00", Damage.FRAME),
        (b"PXFRM,1", Damage.FRAME),
        (b"$HEHDT,\xff,T*21", Damage.FRAME),
        (b"$" + b"A" * 90 + b"*00", Damage.TOO_LONG),
        (b"$HEHDT,341.9,T*21", Damage.CHECKSUM),
        (frame("PXFRM,7,41,250,-250,200,0000"), Damage.CRC),
        (frame("PXFRM"), Damage.CRC),
        (_with_crc("PXFRM,7,41,250,-250"), Damage.FIELDS),
        (_with_crc("PXFRM,7,41,250,+250,200"), Damage.FIELDS),
        (_with_crc("PXFRM,7,41,250,1_0,200"), Damage.FIELDS),
        (_with_crc("PXFRM,70000,41,250,250,200"), Damage.FIELDS),
        (_with_crc("PXFRM,,41,250,250,200"), Damage.FIELDS),
        (_with_crc("PXFRZ,1"), Damage.UNKNOWN),
        (frame("GPGGA,1"), Damage.UNKNOWN),
        (frame("HDT,1.0,T"), Damage.UNKNOWN),
        (frame("HEHDT,361.0,T"), Damage.FIELDS),
        (frame("HEHDT,nan,T"), Damage.FIELDS),
        (frame("HEHDT,1.0"), Damage.FIELDS),
        (frame("HEHDT,1.0,M"), Damage.FIELDS),
        (frame("HEHDT,1.0,"), Damage.FIELDS),
        (frame("HCHDM,1.0,T"), Damage.FIELDS),
        (frame("HEHDT,1.0e2,T"), Damage.FIELDS),
        (frame("HEROT,1.0,AV"), Damage.FIELDS),
        (frame("HEROT"), Damage.FIELDS),
        (frame("HCHDG,1.0"), Damage.FIELDS),
        (frame("HCHDG,1.0,,"), Damage.FIELDS),
        (frame("HCHDG,1.0,2.0,EW,,"), Damage.FIELDS),
        (frame("HCHDG,1.0,2.0,,,"), Damage.FIELDS),
    ],
)
def test_damage_is_told_apart(line, damage):
    with pytest.raises(SentenceError) as caught:
        decode(line)

    assert caught.value.damage is damage


STANDARD = ("HEHDT,341.8,T", "HCHDM,10,M", "HCHDG,100.0,2.0,W,5.0,E", "HEROT,-3.5,A")


@given(
    st.sampled_from(STANDARD),
    st.lists(
        st.tuples(st.integers(0, 6), st.sampled_from(["", ",", "-", "1e9", "T", "E", ".", "nan", " "])), max_size=4
    ),
    st.integers(0, 6),
)
def test_whatever_becomes_of_its_fields_only_a_sentence_error_comes_of_it(body, changes, kept):
    address, *fields = body.split(",")
    for place, text in changes:
        fields[place % len(fields)] = text
    with contextlib.suppress(SentenceError):
        decode(frame(",".join([address, *fields[:kept]])))


@pytest.mark.parametrize(
    ("body", "value"),
    [
        ("HEHDT,341.8,T", TrueHeading(341.8)),
        ("GPHDT,,T", TrueHeading(None)),
        ("HCHDM,10,M", MagneticHeading(10.0)),
        ("HCHDG,100.0,,,,", MagneticHeading(100.0)),
        ("HCHDG,100.0,2.0,W,,", MagneticHeading(98.0)),
        ("HCHDG,100.0,2.0,W,5.0,E", TrueHeading(103.0)),
        ("HCHDG,1.0,,,5.0,W", TrueHeading(356.0)),
        ("HCHDG,,,,5.0,W", MagneticHeading(None)),
        ("TIROT,-15.5,A", RateOfTurn(-15.5)),
        ("TIROT,-15.5,V", RateOfTurn(None)),
        ("TIROT,,A", RateOfTurn(None)),
    ],
)
def test_standard_sentences_of_any_talker_are_understood(body, value):
    assert decode(frame(body)) == value


@pytest.mark.parametrize("degrees", [0.0, 360.0])
def test_north_is_a_heading_from_either_side(degrees):
    assert decode(encode(TrueHeading(degrees))) == TrueHeading(degrees)
