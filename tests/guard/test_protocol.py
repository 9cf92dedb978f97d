import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.guard.protocol import (
    LAYOUTS,
    LONGEST,
    MAGIC,
    MOST_BYTES,
    VERSION,
    Answer,
    Ask,
    Command,
    DatagramError,
    Received,
    Request,
    Ruling,
    State,
    _crc16,
    decode,
    encode,
)
from rover.link.framing import crc16
from rover.stopping import Phase

WHOLE = st.integers(0, 2**32 - 1)
TIME = st.integers(-(2**63), 2**63 - 1)
REAL = st.floats(allow_nan=False)
TEXT = st.text(st.characters(exclude_characters="\0", exclude_categories=["Cs"]), max_size=40)
DATAGRAMS = st.one_of(
    st.builds(Command, WHOLE, WHOLE, TIME, TIME, REAL, REAL, st.none() | st.integers(0, 2500)),
    st.builds(Request, WHOLE, st.sampled_from(Ask), TEXT),
    st.builds(Answer, WHOLE, WHOLE, st.sampled_from(Ruling), REAL, REAL, TIME),
    st.builds(
        State,
        TIME,
        st.sampled_from(Phase),
        *[st.booleans()] * 3,
        *(WHOLE, WHOLE, REAL, REAL, TEXT, TEXT),
    ),
    st.builds(Received, TIME, WHOLE, st.binary(max_size=MOST_BYTES)),
)


@given(DATAGRAMS)
def test_what_is_written_is_read(value):
    assert decode(encode(value)) == value


@given(DATAGRAMS, st.data())
def test_a_changed_byte_is_noticed(value, data):
    datagram = bytearray(encode(value))
    datagram[data.draw(st.integers(0, len(datagram) - 1))] ^= data.draw(st.integers(1, 255))
    with pytest.raises(DatagramError):
        decode(bytes(datagram))


@given(DATAGRAMS, st.data())
def test_a_datagram_cut_short_is_refused(value, data):
    datagram = encode(value)
    with pytest.raises(DatagramError):
        decode(datagram[: data.draw(st.integers(0, len(datagram) - 1))])


@given(st.binary(max_size=2000))
def test_noise_is_refused(noise):
    with pytest.raises(DatagramError):
        decode(noise)


def test_the_checksum_is_that_of_the_serial_sentences():
    assert f"{_crc16(b'123456789'):04X}" == crc16("123456789")


def test_a_long_cause_is_cut_to_what_there_is_room_for():
    assert decode(encode(Request(1, Ask.STOP, "é" * 200))) == Request(1, Ask.STOP, "é" * 80)


def test_a_number_that_does_not_fit_is_refused_by_name():
    with pytest.raises(ValueError, match="does not fit in a datagram"):
        encode(Command(-1, 0, 0, 0, 0.0, 0.0))


@pytest.mark.parametrize(
    "changed", [bytes([VERSION + 1, 1]), bytes([VERSION, 0x63])], ids=["another version", "an unknown kind"]
)
def test_another_release_is_told_from_damage(changed):
    body = MAGIC + changed + encode(Command(1, 1, 1, 1, 0.0, 0.0))[4:-2]
    with pytest.raises(DatagramError, match="different releases"):
        decode(body + _crc16(body).to_bytes(2, "little"))


def test_an_unknown_verdict_is_refused():
    body = encode(Answer(1, 1, Ruling.ACCEPTED, 0.0, 0.0, 0))[:-2]
    body = body[:12] + b"\xff" + body[13:]
    with pytest.raises(DatagramError, match="255"):
        decode(body + _crc16(body).to_bytes(2, "little"))


def sound(body: bytes) -> bytes:
    """Return a datagram with a CRC that fits."""
    return body + _crc16(body).to_bytes(2, "little")


OF_ONE_SIZE = [kind for kind, layout in LAYOUTS.items() if layout.value is not Received]


@pytest.mark.parametrize(("kind", "more"), [*((kind, -1) for kind in LAYOUTS), *((kind, 1) for kind in OF_ONE_SIZE)])
def test_a_sound_datagram_of_another_size_than_its_kind_is_refused(kind, more):
    size = struct.calcsize(LAYOUTS[kind].code) + more
    with pytest.raises(DatagramError, match=f"{size} bytes do not make"):
        decode(sound(MAGIC + bytes([VERSION, kind]) + bytes(size)))


@pytest.mark.parametrize("datagram", [b"", MAGIC, sound(MAGIC), b"RX" + encode(Request(1, Ask.HELLO))[2:]])
def test_what_has_no_head_is_none_of_ours(datagram):
    with pytest.raises(DatagramError, match="not a datagram of the guard"):
        decode(datagram)


def test_a_chunk_is_taken_up_to_its_longest():
    assert decode(encode(Received(1, 0, bytes(MOST_BYTES)))).data == bytes(MOST_BYTES)
    with pytest.raises(DatagramError, match="do not make a Received"):
        decode(encode(Received(1, 0, bytes(MOST_BYTES + 1))))
    assert len(encode(State(1, *[0] * 6, 0.0, 0.0, "x" * 999, "x" * 999))) <= LONGEST
