"""The C header of the co-processor against the Python codec, both ways, by a real C compiler."""

import random
import shutil
import subprocess
from pathlib import Path

import pytest

from rover.link.codec import decode, encode
from rover.link.framing import crc16, frame
from rover.link.sentences import DOWNWARDS, UPWARDS, MotorCommand, Word

SOURCE = Path(__file__).parents[2] / "tools" / "coprocessor" / "round_trip.c"
STRICT = ["-std=c99", "-Wall", "-Wextra", "-Werror", "-Wconversion", "-pedantic"]

pytestmark = pytest.mark.skipif(shutil.which("cc") is None, reason="needs a C compiler: apt install gcc libc6-dev")


@pytest.fixture(scope="module")
def program(tmp_path_factory):
    path = tmp_path_factory.mktemp("c") / "round_trip"
    subprocess.run(["cc", *STRICT, "-o", str(path), str(SOURCE)], check=True)
    return path


def _run(program: Path, mode: str, given: bytes) -> bytes:
    return subprocess.run([str(program), mode], input=given, capture_output=True, check=True, timeout=60).stdout


def _some_value(draw: random.Random, layout):
    return layout.value(*(_some_field(draw, field) for field in layout.fields))


def _some_field(draw: random.Random, field):
    if isinstance(field, Word):
        return "".join(draw.choices("Az09._-", k=draw.randint(1, field.width)))
    if (field.optional or field.added) and draw.random() < 0.3:
        return None
    return draw.choice([field.low, field.high, draw.randint(field.low, field.high)])


def _as_text(layout, value) -> str:
    """Return a value as the C program has it: an empty field is a hyphen, one that is left out is nothing."""
    items = value[:-1] if layout.added and value[-1] is None else value
    return " ".join([layout.letter, *("-" if item is None else _item_text(item) for item in items)])


def _item_text(item) -> str:
    return f"'{item}" if isinstance(item, str) else str(item)


def test_python_reads_what_c_writes(program):
    draw = random.Random(1)
    chosen = [draw.choice(UPWARDS) for _ in range(500)]
    values = [_some_value(draw, layout) for layout in chosen]
    given = "\n".join(_as_text(layout, value) for layout, value in zip(chosen, values, strict=True))

    written = _run(program, "write", given.encode())

    assert [decode(line) for line in written.splitlines()] == values
    assert written == b"".join(map(encode, values))


def test_c_reads_what_python_writes(program):
    draw = random.Random(2)
    chosen = [draw.choice(DOWNWARDS) for _ in range(500)]
    values = [_some_value(draw, layout) for layout in chosen]

    read = _run(program, "read", b"".join(map(encode, values)))

    expected = [_as_text(layout, value) for layout, value in zip(chosen, values, strict=True)]
    assert read.decode().splitlines() == expected


def test_c_takes_nothing_out_of_damaged_sentences(program):
    draw = random.Random(3)
    stream = bytearray()
    for _ in range(500):
        line = bytearray(encode(_some_value(draw, draw.choice(DOWNWARDS))).strip())
        position = draw.randrange(len(line))
        # Bit 5 alone would make a lower-case hex digit, which is no damage.
        line[position] ^= draw.choice([1, 2, 4, 8, 16, 64, 3, 129])
        stream += line + b"\r\n"

    assert _run(program, "read", bytes(stream)) == b""


def test_the_crc_catches_what_the_checksum_lets_through(program):
    line = encode(MotorCommand(1, 2, 100, 300, 250))
    swapped = line.replace(b",100,300,", b",300,100,")

    assert _run(program, "read", line) == b"M 1 2 100 300 250\n"
    assert _run(program, "read", swapped) == b""


def test_c_finds_each_command_amid_noise(program):
    draw = random.Random(4)
    values = [_some_value(draw, DOWNWARDS[0]) for _ in range(200)]
    stream = b"".join(draw.randbytes(draw.randint(0, 200)) + encode(value) for value in values)

    read = _run(program, "read", stream).decode().splitlines()

    assert read == [_as_text(DOWNWARDS[0], value) for value in values]


@pytest.mark.parametrize(
    "body",
    [
        "PXFRM,1,2,3,4",
        "PXFRM,1,2,3,4,5,6,7",
        "PXFRM,1,2,3,4,5,-6",
        "PXFRM,1,2,3,4,5,",
        "PXFRM,65536,2,3,4,5",
        "PXFRM,1,4294967296,3,4,5",
        "PXFRM,1,2,32768,4,5",
        "PXFRM,1,2,-32769,4,5",
        "PXFRM,1,2,--3,4,5",
        "PXFRM,1,2,,4,5",
        "PXFRM,,2,3,4,5",
        "PXFRS,1,2,x,5",
        "PXFRC,1,2,3,4,5",
        "PXFR",
        "",
    ],
)
def test_c_refuses_sound_sentences_with_wrong_fields(program, body):
    assert _run(program, "read", frame(f"{body},{crc16(body)}")) == b""
