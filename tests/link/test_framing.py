import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.link.codec import decode, encode
from rover.link.framing import Damage, Framer, SentenceError
from rover.link.sentences import CountsReport

from .test_codec import MOTORS, any_value


@given(st.binary(max_size=400))
def test_no_noise_raises_anything_and_all_of_it_is_accounted_for(noise):
    framer = Framer()

    lines = framer.feed(noise)

    accounted = sum(map(len, lines)) + framer.damage[Damage.GARBAGE] + len(framer._line)
    assert accounted == len(noise) - noise.count(b"\r") - noise.count(b"\n")
    for line in lines:
        with pytest.raises(SentenceError):
            decode(line)


@given(st.lists(any_value, max_size=6), st.binary(max_size=30), st.data())
def test_any_split_into_chunks_gives_the_same_lines(values, noise, data):
    stream = noise + b"".join(map(encode, values))
    cuts = sorted(data.draw(st.lists(st.integers(0, len(stream)), max_size=20)))
    whole, split = Framer(), Framer()

    expected = whole.feed(stream)
    lines = [
        line
        for start, end in zip([0, *cuts], [*cuts, len(stream)], strict=True)
        for line in split.feed(stream[start:end])
    ]

    assert lines == expected
    assert split.damage == whole.damage


@given(st.binary(max_size=100), any_value)
def test_the_sentence_after_noise_is_found(noise, value):
    assert Framer().feed(noise + encode(value))[-1] == encode(value).strip()


def test_a_sentence_cut_short_costs_only_itself():
    framer = Framer()
    cut = encode(CountsReport(1, 2, 3, 4, 5))[:20]

    assert framer.feed(cut + encode(MOTORS)) == [encode(MOTORS).strip()]
    assert framer.damage == {Damage.CUT_SHORT: 1, Damage.GARBAGE: 20}


def test_memory_stays_bounded_without_line_ends():
    framer = Framer()

    assert framer.feed(b"$" + b"x" * 100_000) == []
    assert framer.damage == {Damage.TOO_LONG: 1, Damage.GARBAGE: 100_001}


LONGEST_LINE = b"$" + b"x" * 76 + b"*00"
"""With CR LF the 82 characters of NMEA 0183."""


@pytest.mark.parametrize("size", [1, 3, 79, 200])
def test_a_line_of_82_characters_is_the_longest_that_is_kept_in_whatever_chunks_it_comes(size):
    framer = Framer()
    fits, does_not = LONGEST_LINE + b"\r\n", LONGEST_LINE[:-3] + b"x*00\r\n"

    lines = [line for start in range(0, 82, size) for line in framer.feed(fits[start : start + size])]
    assert lines == [LONGEST_LINE]
    lines = [line for start in range(0, 83, size) for line in framer.feed(does_not[start : start + size])]
    assert lines == []
    assert framer.damage == {Damage.TOO_LONG: 1, Damage.GARBAGE: 81}


def test_a_line_that_is_too_long_is_called_that_and_shown_no_further():
    with pytest.raises(SentenceError, match="longer than 82") as error:
        decode(b"$" + b"x" * 900)
    assert error.value.damage is Damage.TOO_LONG
    assert str(error.value).count("x") == 82
