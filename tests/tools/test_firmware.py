"""The example firmware: it compiles without a warning, and in a simulator the real drivers read it.

All times are those of the simulated board, so a slow machine changes no result.
"""

import math
import os
import shutil
import subprocess
from pathlib import Path

import pytest

from rover.devices.battery.co_processor import Battery
from rover.devices.counts.co_processor import Counts
from rover.devices.counts.keys import CoProcessorCountsKeys
from rover.devices.heading.co_processor import Heading
from rover.devices.heading.keys import CoProcessorHeadingKeys
from rover.devices.protocols import DriverContext
from rover.devices.readings import BatteryValue, HeadingValue, WheelCounts
from rover.files.robot import SerialLink
from rover.link import open_link
from rover.link.codec import encode
from rover.link.sentences import Acceptance, Acknowledgement, CountsReport, HeadingReport, MotorCommand, ServoCommand
from rover.quantities import compass_to_field

COPROCESSOR = Path(__file__).parents[2] / "tools" / "coprocessor"
CHIP = "atmega328p"
OPTIONS = CoProcessorHeadingKeys(link="main").options | CoProcessorCountsKeys(link="main").options
SENSOR_BYTES = {0x1A: 0xB0, 0x1B: 0x04, 0x18: 0xA0, 0x19: 0x00, 0x35: 0xC0}

needs_compiler = pytest.mark.skipif(
    not (shutil.which("avr-gcc") and shutil.which("make")),
    reason="needs an AVR compiler: apt install gcc-avr avr-libc make",
)


def _make(folder, *defines):
    arguments = ["make", "-C", str(COPROCESSOR / "firmware"), f"OUT={folder}", *defines]
    return subprocess.run(arguments, capture_output=True, text=True, timeout=120)


@pytest.fixture(scope="module")
def firmware(tmp_path_factory):
    folder = tmp_path_factory.mktemp("firmware")
    made = _make(folder)
    assert made.returncode == 0, made.stderr
    return folder / "firmware.elf"


@pytest.fixture(scope="module")
def simulator(tmp_path_factory):
    if not Path("/usr/include/simavr/sim_avr.h").exists() or shutil.which("cc") is None:
        pytest.skip("needs an AVR simulator: apt install libsimavr-dev gcc libc6-dev")
    path = tmp_path_factory.mktemp("simulator") / "simulate"
    sources = sorted((COPROCESSOR / "simulate").glob("*.c"))
    subprocess.run(
        ["cc", "-std=c99", "-Wall", "-Wextra", "-Werror", "-O2", "-o", path, *sources, "-lsimavr"],
        check=True,
        timeout=120,
    )
    return path


class Board:
    """The simulated board: `tell` it things; `log` is what its simulator wrote so far, each line in words."""

    def __init__(self, simulator, firmware, folder):
        self._path = folder / "log"
        with self._path.open("w") as log:
            self._process = subprocess.Popen(
                [simulator, firmware, CHIP], stdin=subprocess.PIPE, stdout=log, text=True, bufsize=1
            )

    def tell(self, *lines):
        self._process.stdin.write("".join(f"{line}\n" for line in lines))
        self._process.stdin.flush()

    @property
    def log(self):
        return [line.split() for line in self._path.read_text().split("\n")[:-1]]

    def times(self, word, *rest):
        """Return the times (us) of the lines that begin with ``word`` and end with ``rest``."""
        return [int(line[1]) for line in self.log if line[0] == word and line[2:] == list(rest)]

    def close(self):
        self._process.stdin.close()
        self._process.wait(timeout=60)


@pytest.fixture
def board(simulator, firmware, tmp_path):
    board = Board(simulator, firmware, tmp_path)
    yield board
    board.close()


@pytest.fixture
def port(board, eventually):
    return eventually(lambda: next((line[1] for line in board.log if line[0] == "port"), None))


@pytest.fixture
def link(port):
    link = open_link(SerialLink(port=port))
    yield link
    link.close()


@pytest.fixture
def command(port, link, eventually):
    """Write commands to the board, as the motor guard does, once it speaks."""
    line = os.open(port, os.O_WRONLY | os.O_NOCTTY)
    eventually(lambda: link.identity)
    yield lambda sentence: os.write(line, encode(sentence))
    os.close(line)


@pytest.fixture
def context(link):
    return DriverContext(robot=None, seed=0, links={"main": link})


def _latest(sensor):
    """Return a function that tells the value read last; it keeps none but the last."""
    values = []

    def latest():
        values[:] = [*values, *(reading.value for reading in sensor.poll(0))][-1:]
        return values[0] if values else None

    return latest


@needs_compiler
@pytest.mark.parametrize("kind", [0, 1], ids=["quadrature", "one channel and a direction"])
def test_the_firmware_compiles_without_a_warning(tmp_path, kind):
    made = _make(tmp_path, f"DEFINES=-DENCODER_B_IS_DIRECTION={kind}")

    assert (made.returncode, made.stderr) == (0, "")
    assert (tmp_path / "firmware.hex").exists()


@needs_compiler
def test_the_board_says_who_it_is_and_counts_its_boots(link, eventually):
    identity = eventually(lambda: link.identity)

    assert identity[2:] == (1, 1000, "example 1", 2)


@needs_compiler
def test_the_encoders_are_counted_edge_by_edge_both_ways(board, context, eventually):
    latest = _latest(Counts(OPTIONS, context))
    eventually(latest)
    board.tell("turn left 1000", "turn right -300")
    eventually(lambda: latest() == WheelCounts(1000, -300, 1))

    board.tell("turn left -1500", "turn right 300")

    eventually(lambda: latest() == WheelCounts(-500, 0, 1))


@needs_compiler
def test_the_heading_sensor_is_set_up_and_read(board, context, eventually):
    board.tell(*(f"sensor {register} {value}" for register, value in SENSOR_BYTES.items()))

    value = eventually(_latest(Heading(OPTIONS, context)))

    # 0x04B0 sixteenths are 75 degrees clockwise; the sensor turns anticlockwise at 0x00A0 sixteenths, 10 deg/s.
    assert value == HeadingValue(pytest.approx(compass_to_field(75.0)), pytest.approx(math.radians(10.0)), 3)


@needs_compiler
def test_a_sensor_that_restarted_gives_no_heading_until_it_is_set_up_again(board, link, eventually):
    box = link.mailbox(HeadingReport)
    eventually(lambda: any(reading.value.heading_cdeg is not None for reading in box.take()))

    board.tell("sensor 61 0")

    eventually(lambda: any(reading.value.heading_cdeg is None for reading in box.take()))
    eventually(lambda: any(reading.value.heading_cdeg is not None for reading in box.take()))


@needs_compiler
def test_the_battery_is_measured_at_the_divider(board, context, eventually):
    latest = _latest(Battery(OPTIONS, context))
    board.tell("battery 3126")

    # 10 kohm above 3.3 kohm: 12.6 V make 3.126 V; a step of the converter is 20 mV of the battery.
    eventually(lambda: latest() == BatteryValue(pytest.approx(12.6, abs=0.02), None))


@needs_compiler
def test_commands_are_carried_out_and_answered(board, command, link, eventually):
    answers = link.mailbox(Acknowledgement)

    command(MotorCommand(1, 7, 500, -250, 60_000))

    # 255 steps are full duty.
    eventually(lambda: board.times("drive", "128", "-64"))
    first = eventually(answers.take)[0].value
    assert first[3:] == ("M", 7, Acceptance.ACCEPTED, 500, -250)


@needs_compiler
def test_the_gripper_gets_its_pulse(board, command, eventually):
    command(ServoCommand(1, 1, 1500, 60_000))
    eventually(lambda: board.times("pulse", "1500"))
    command(ServoCommand(1, 2, 0, 60_000))

    eventually(lambda: board.times("pulse", "0"))


@needs_compiler
def test_motors_are_off_250_ms_after_the_last_command(board, command, eventually):
    for sequence in range(1, 20):
        command(MotorCommand(1, sequence, 400, 400, 60_000))
        eventually(lambda: len(board.times("heard")) == sequence)  # noqa: B023  called at once

    last_command_us = board.times("heard")[-1]
    off_us = eventually(lambda: next((time for time in board.times("drive", "0", "0") if time > last_command_us), None))

    # A sentence waits for the report that is being written, a few milliseconds at the most.
    assert 249_000 <= off_us - last_command_us <= 260_000


@needs_compiler
def test_a_hung_program_is_ended_by_the_watchdog_and_motors_stay_off(board, command, link, eventually):
    counts = link.mailbox(CountsReport)
    command(MotorCommand(1, 1, 400, 400, 60_000))
    eventually(lambda: board.times("drive", "102", "102"))

    board.tell("hang")
    eventually(lambda: len(board.times("start")) == 2)

    going_us, off_us = board.times("drive", "102", "102")[-1], board.times("drive", "0", "0")[-1]
    assert going_us < off_us <= going_us + 260_000
    eventually(lambda: any(reading.value[2:] == (2, 0, 0) for reading in counts.take()))
    assert board.log[-1][0] != "drive" or board.log[-1][2:] == ["0", "0"]


@needs_compiler
def test_before_the_first_command_the_outputs_are_off(board, link, eventually):
    eventually(lambda: link.identity)

    assert not [line for line in board.log if line[0] in ("drive", "pulse")]
