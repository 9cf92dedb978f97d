"""A link and the emulated co-processor, over a real pseudo-terminal, five times as fast as real time."""

import os

import pytest

from rover.files.robot import SerialLink
from rover.link import open_link
from rover.link.codec import encode
from rover.link.emulated_firmware import Applied, Firmware
from rover.link.emulated_hardware import WheelsFree
from rover.link.emulator import Emulator
from rover.link.framing import Damage
from rover.link.sentences import Acceptance, Acknowledgement, CountsReport, HeadingReport, Identity, MotorCommand

SECOND = 1_000_000_000
MS = 1_000_000


@pytest.fixture
def emulator(tmp_path, now_ns):
    emulator = Emulator(WheelsFree(), tmp_path / "port", now_ns, Firmware(skew=0.004, deadline_ms=None))
    yield emulator
    emulator.close()


@pytest.fixture
def link(emulator, now_ns):
    link = open_link(SerialLink(port=str(emulator.path)), now_ns)
    yield link
    link.close()


def _collector(link, kind):
    box, readings = link.mailbox(kind), []
    return lambda: readings.extend(box.take()) or readings


def _say(emulator, command):
    """Write a command to the line, as the motor guard does."""
    line = os.open(emulator.path, os.O_WRONLY | os.O_NOCTTY)
    os.write(line, encode(command))
    os.close(line)


def test_readings_come_in_order_with_times_before_their_arrival(link, now_ns, eventually):
    counts = _collector(link, CountsReport)

    eventually(lambda: len(counts()) >= 50)

    taken = [reading.taken_ns for reading in counts()]
    assert taken == sorted(taken)
    assert taken[-1] <= now_ns()
    assert link.damage.get(Damage.CHECKSUM, 0) == 0


def test_each_mailbox_gets_every_reading(link, eventually):
    one, other = _collector(link, HeadingReport), _collector(link, HeadingReport)

    eventually(lambda: len(one()) >= 3 and len(other()) >= 3)

    shared = set(one()) & set(other())
    assert len(shared) >= 3


def test_a_command_is_obeyed_and_answered(link, emulator, eventually):
    answers = _collector(link, Acknowledgement)
    _say(emulator, MotorCommand(1, 1, 500, -500, 60_000))

    eventually(answers)

    assert answers()[0].value[3:] == ("M", 1, Acceptance.ACCEPTED, 500, -500)
    assert emulator.applied[-1][1:] == (0.5, -0.5)


def test_motors_stop_at_the_devices_deadline(tmp_path, now_ns, eventually):
    emulator = Emulator(WheelsFree(), tmp_path / "port", now_ns)
    link = open_link(SerialLink(port=str(emulator.path)), now_ns)
    _say(emulator, MotorCommand(1, 1, 500, -500, 60_000))

    eventually(lambda: len(emulator.applied) == 3)
    link.close()
    emulator.close()

    _, going, ended = emulator.applied
    assert ended == Applied(going.now_ns + 250 * MS, 0.0, 0.0)


def test_a_reboot_shows_as_a_new_boot_with_counts_from_zero(link, emulator, eventually):
    counts = _collector(link, CountsReport)
    eventually(counts)

    emulator.reboot()
    eventually(lambda: counts()[-1].value.boot == 2)

    first = next(reading for reading in counts() if reading.value.boot == 2)
    assert first.value[1:] == (first.value.device_ms, 2, 0, 0)
    taken = [reading.taken_ns for reading in counts()]
    assert taken == sorted(taken)
    sequences = [reading.sequence for reading in counts()]
    assert sequences == sorted(set(sequences))


def test_readings_go_on_after_unplugging(link, emulator, eventually):
    counts = _collector(link, CountsReport)
    eventually(counts)

    emulator.unplug(1.5)
    eventually(lambda: link.counts.opened == 2)
    reopened = len(counts())
    eventually(lambda: len(counts()) > reopened)

    gap = counts()[-1].sequence - counts()[0].sequence + 1 - len(counts())
    assert gap > 0, "the sequence tells how many were lost"
    assert counts()[-1].value.boot == 1


def test_the_identity_is_kept(link, eventually):
    eventually(lambda: link.identity)

    assert isinstance(link.identity, Identity)
    assert link.identity.firmware == "emulator 1"


def test_noise_on_the_line_is_counted_and_survived(link, emulator, eventually):
    counts = _collector(link, CountsReport)
    eventually(counts)
    seen = len(counts())

    emulator._plug.write([b"\x00\xff$HEHDT,1.0,T*00\r\n$PXFRC,garbled\r\n", os.urandom(50)])
    eventually(lambda: len(counts()) > seen + 5)

    assert link.damage[Damage.CHECKSUM] + link.damage[Damage.FRAME] + link.damage[Damage.CUT_SHORT] >= 1


def test_bytes_come_no_faster_than_the_baud_rate(tmp_path, now_ns, eventually):
    start_ns = now_ns()
    emulator = Emulator(WheelsFree(), tmp_path / "slow", now_ns, baud=9600)
    link = open_link(SerialLink(port=str(emulator.path), baud=9600), now_ns)

    eventually(lambda: link.counts.bytes_in > 1000)
    received, elapsed_s = link.counts.bytes_in, (now_ns() - start_ns) / SECOND
    link.close()
    emulator.close()

    assert received <= 960 * elapsed_s + 1
