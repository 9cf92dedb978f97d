"""The command gate in C against the one of the emulator, over random and hand-made histories."""

import random
import shutil
import subprocess
from pathlib import Path

import pytest

from rover.link.codec import decode, encode
from rover.link.emulated_firmware import CoProcessor, Firmware
from rover.link.emulated_hardware import WheelsFree
from rover.link.framing import SentenceError
from rover.link.sentences import Acknowledgement, MotorCommand, ServoCommand

SOURCE = Path(__file__).parents[2] / "tools" / "coprocessor" / "gate_replay.c"
STRICT = ["-std=c99", "-Wall", "-Wextra", "-Werror", "-Wconversion", "-pedantic"]
MS = 1_000_000
ANSWERS_EACH_MS = 50
MAX_DUTY = 900

pytestmark = pytest.mark.skipif(shutil.which("cc") is None, reason="needs a C compiler: apt install gcc libc6-dev")


@pytest.fixture(scope="module")
def program(tmp_path_factory):
    path = tmp_path_factory.mktemp("c") / "gate_replay"
    subprocess.run(["cc", *STRICT, "-o", str(path), str(SOURCE)], check=True)
    return path


class Servo(WheelsFree):
    """Wheels on a stand that keep the servo's last pulse."""

    pulse_us = 0

    def servo(self, pulse_s, now_ns):
        self.pulse_us = round((pulse_s or 0.0) * 1e6)


def _in_c(program, history):
    lines = "".join(
        f"{now_ms} {encode(command).decode() if command else '-'}".strip() + "\n" for now_ms, command in history
    )
    return subprocess.run(
        [program, str(MAX_DUTY)], input=lines, capture_output=True, text=True, check=True, timeout=60
    ).stdout.splitlines()


def _in_python(history):
    machine = Servo()
    processor = CoProcessor(machine, 0, Firmware(max_duty=MAX_DUTY / 1000))
    return [_line(processor, machine, now_ms, command) for now_ms, command in history]


def _line(processor, machine, now_ms, command):
    if command is not None:
        processor.feed(encode(command), now_ms * MS)
    sent = [decode(line) for line in processor.due(now_ms * MS).splitlines()]
    answers = [f"{answer[3]} {answer[4]} {int(answer[5])}" for answer in sent if isinstance(answer, Acknowledgement)]
    left, right = (round(duty * 1000) for duty in processor.applied[-1][1:])
    return " ".join([f"{left} {right} {machine.pulse_us}", *answers])


def _some_command(draw, session, now_ms):
    # Around zero and around the wrap, forwards mostly: all the ways in which a sequence is fresh or stale.
    sequence = (draw.choice([0, 2**32 - 3, 2**31, 77]) + draw.randint(0, 6)) % 2**32
    lasts_ms = draw.choice([0, 1, 49, 60, 250, 300, 65535])
    # Over, just not over, within the deadline, as far ahead as can be meant, and farther.
    until_ms = draw.choice([None, *((now_ms + ahead) % 2**32 for ahead in (-1, 0, 1, 100, 1000, 1001, 2**31))])
    if draw.random() < 0.4:
        pulse_us = draw.choice([0, 499, 500, 1500, 2500, 2501, 65535])
        return ServoCommand(session, sequence, pulse_us, lasts_ms, until_ms)
    duties = [draw.choice([-1001, -1000, -901, -300, 1, 0, 400, 900, 1000, 32767]) for _ in "lr"]
    return MotorCommand(session, sequence, *duties, lasts_ms, until_ms)


def _some_history(draw, length):
    now_ms = 0
    for _ in range(length):
        # The emulator answers 20 times a second at most, the gate whenever it is asked: ask both at that pace.
        now_ms += ANSWERS_EACH_MS * draw.choice([1, 1, 2, 4, 5, 6, 210])
        yield now_ms, None if draw.random() < 0.3 else _some_command(draw, draw.choice([1, 1, 1, 2]), now_ms)


@pytest.mark.parametrize("seed", range(20))
def test_the_gate_is_that_of_the_emulator(program, seed):
    history = list(_some_history(random.Random(seed), 400))

    assert _in_c(program, history) == _in_python(history)


def test_a_command_lasts_to_the_millisecond(program):
    go = MotorCommand(1, 1, 400, 300, 1000)

    lines = _in_c(program, [(100, go), (349, None), (350, None), (351, None)])

    assert lines == ["400 300 0 M 1 0", "400 300 0", "0 0 0 M 1 5", "0 0 0"]


@pytest.mark.parametrize("waited_ms", [0, 99, 100, 1000])
def test_a_command_that_waited_in_a_stalled_line_is_over_when_it_says_so(program, waited_ms):
    """It was sent at 5000 ms of the device, for 100 ms; what is counted from its arrival would let it move."""
    go = MotorCommand(1, 1, 400, 300, 250, until_ms=5100)

    lines = _in_c(program, [(5000 + waited_ms, go), (5099, None), (5100, None)])

    assert lines[0].split()[:2] == (["400", "300"] if waited_ms < 100 else ["0", "0"])
    assert lines[-1].split()[:2] == ["0", "0"]


def test_a_command_for_another_boots_milliseconds_moves_nothing(program):
    """The board has restarted, and whoever commands has not noticed yet."""
    lines = _in_c(program, [(20, MotorCommand(1, 1, 400, 300, 250, until_ms=60_250))])

    assert lines == ["0 0 0 M 1 3"]


def test_time_may_wrap_while_a_command_lasts(program):
    go = MotorCommand(1, 1, 400, 300, 200)

    lines = _in_c(program, [(2**32 - 100, go), (2**32 - 1, None), (99, None), (100, None)])

    assert [line.split()[:2] for line in lines] == [["400", "300"]] * 3 + [["0", "0"]]


def test_a_repeated_command_refreshes_nothing(program):
    go = MotorCommand(1, 1, 400, 300, 250)

    lines = _in_c(program, [(now_ms, go) for now_ms in range(0, 500, 50)])

    assert [line.split()[0] for line in lines] == ["400"] * 5 + ["0"] * 5
    assert lines[1] == "400 300 0 M 1 1"


def test_a_damaged_sentence_moves_nothing(program):
    damaged = encode(MotorCommand(1, 1, 400, 300, 250)).replace(b",400,", b",401,")
    with pytest.raises(SentenceError):
        decode(damaged)

    lines = subprocess.run(
        [program], input=b"0 " + damaged, capture_output=True, check=True, timeout=60
    ).stdout.splitlines()

    assert lines == [b"0 0 0"]
