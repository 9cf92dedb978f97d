"""Sentences, checksums and CRC values that others published, and two independent libraries.

The sentences were seen where it says beside them; their checksums were computed again, and pynmea2 1.19.0 accepts them.
"""

import pynmea2
import pytest
from crccheck.crc import Crc16Ibm3740, Crc16Modbus, Crc16Xmodem
from hypothesis import given
from hypothesis import strategies as st

from rover.link.codec import decode, encode
from rover.link.framing import LONGEST, Damage, SentenceError, checksum, crc16
from rover.link.sentences import CountsReport, MotorCommand, RateOfTurn, TrueHeading

PUBLISHED = [
    # sentence, value, where it was seen
    ("$HCHDG,101.1,,,7.1,W*3C", TrueHeading(94.0)),  # many public parsers
    ("$HCHDG,98.3,0.0,E,12.6,W*57", TrueHeading(85.7)),  # many public parsers
    ("$HEHDT,341.8,T*21", TrueHeading(341.8)),  # published parser documentation
    ("$HEHDT,4.0,T*2B", TrueHeading(4.0)),  # receiver log quoted in tests
    ("$HEHDT,274.07,T*19", TrueHeading(274.07)),  # parser tests
    ("$GPHDT,196.67,T*0A", TrueHeading(196.67)),  # parser source; leading zero digit
    ("$HEROT,0.0,A*2B", RateOfTurn(0.0)),  # published parser documentation
    ("$HEROT,-15.5,A*37", RateOfTurn(-15.5)),  # parser tests
]
OTHER_KINDS = [
    "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47",  # ubiquitous: not traced to a source
    "$GPBOD,,T,,M,,*47",  # many logs; null fields
]


@pytest.mark.parametrize(("sentence", "value"), PUBLISHED)
def test_published_sentences_are_read(sentence, value):
    decoded = decode(sentence.encode("ascii"))

    assert type(decoded) is type(value)
    assert decoded[0] == pytest.approx(value[0])


@pytest.mark.parametrize("sentence", OTHER_KINDS)
def test_published_sentences_of_other_kinds_are_sound_but_not_read(sentence):
    with pytest.raises(SentenceError) as caught:
        decode(sentence.encode("ascii"))

    assert caught.value.damage is Damage.UNKNOWN


def test_the_misprinted_checksum_is_rejected():
    # A public page prints 1E for this; the XOR is 22.
    with pytest.raises(SentenceError, match="has 1E, not 22") as caught:
        decode(b"$HEHDT,178.3,T*1E")

    assert caught.value.damage is Damage.CHECKSUM
    assert decode(b"$HEHDT,178.3,T*22") == TrueHeading(178.3)


@pytest.mark.parametrize("sentence", [sentence for sentence, _ in PUBLISHED] + OTHER_KINDS)
def test_checksums_are_those_that_pynmea2_computes(sentence):
    body, _, given_sum = sentence.removeprefix("$").partition("*")

    assert checksum(body) == given_sum == f"{pynmea2.NMEASentence.checksum(body):02X}"


@given(st.integers(0, 35999))
def test_pynmea2_reads_our_standard_headings(cdeg):
    message = pynmea2.parse(encode(TrueHeading(cdeg / 100)).decode("ascii"), check=True)

    assert float(message.heading) == cdeg / 100


def test_pynmea2_reads_our_rate_of_turn():
    message = pynmea2.parse(encode(RateOfTurn(-15.5)).decode("ascii"), check=True)

    assert float(message.rate_of_turn) == -15.5
    assert message.status == "A"


@given(st.integers(0, 2**32 - 1), st.integers(-(2**31), 2**31 - 1))
def test_our_own_sentences_are_sound_to_pynmea2(device_ms, count):
    line = encode(CountsReport(1, device_ms, 2, count, -1)).decode("ascii")

    assert pynmea2.NMEASentence.checksum(line[1:-5]) == int(line[-4:-2], 16)
    assert pynmea2.parse(line, check=True).manufacturer == "XFR"


# CRC catalogue entry CRC-16/IBM-3740 (aliases CCITT-FALSE, AUTOSAR), and as crccheck 1.3.1 computes it.
@pytest.mark.parametrize(("text", "crc"), [("123456789", "29B1"), ("", "FFFF"), ("\0", "E1F0"), ("A", "B915")])
def test_crc_values_of_the_catalogue(text, crc):
    assert crc16(text) == crc == f"{Crc16Ibm3740.calc(text.encode('ascii')):04X}"


# The neighbours it is confused with, on the same input, by crccheck 1.3.1.
@pytest.mark.parametrize(("neighbour", "crc"), [(Crc16Xmodem, 0x31C3), (Crc16Modbus, 0x4B37)])
def test_the_crc_is_not_one_of_its_neighbours(neighbour, crc):
    assert neighbour.calc(b"123456789") == crc
    assert crc16("123456789") != f"{crc:04X}"


@given(st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=80))
def test_the_crc_is_that_of_crccheck(text):
    assert crc16(text) == f"{Crc16Ibm3740.calc(text.encode('ascii')):04X}"
    # Message and CRC together leave nothing; by crccheck 1.3.1.
    assert Crc16Ibm3740.calc(text.encode("ascii") + bytes.fromhex(crc16(text))) == 0


def test_no_sentence_is_longer_than_the_standard_allows():
    # 82 characters with $ and CR LF: NMEA 0183 v3.01, 5.3, as a parser's manual quotes it.
    assert LONGEST == 82
    assert len(encode(MotorCommand(65535, 2**32 - 1, -32768, -32768, 65535))) <= 82
