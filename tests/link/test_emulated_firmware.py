import pytest

from rover.link.codec import decode, encode
from rover.link.emulated_firmware import Applied, CoProcessor, Firmware
from rover.link.emulated_hardware import WheelsFree
from rover.link.framing import Damage
from rover.link.sentences import (
    UPWARDS,
    Acceptance,
    Acknowledgement,
    BatteryReport,
    CountsReport,
    HeadingReport,
    Identity,
    JawsReport,
    MotorCommand,
    ServoCommand,
)

MS = 1_000_000
SECOND = 1_000_000_000
FORWARD = MotorCommand(session=1, sequence=10, left_permille=400, right_permille=300, lasts_ms=1000)


def _sent(processor: CoProcessor, until_ns: int, since_ns: int = 0) -> list:
    """Return the values that the device sends when it is asked each 10 ms."""
    stream = b"".join(processor.due(now_ns) for now_ns in range(since_ns, until_ns, 10 * MS))
    return [decode(line) for line in stream.splitlines()]


def _answer(processor: CoProcessor, *commands, now_ns: int) -> Acknowledgement:
    processor.feed(b"".join(map(encode, commands)), now_ns)
    return next(value for value in _sent(processor, now_ns + 60 * MS, now_ns) if isinstance(value, Acknowledgement))


def test_sentences_come_at_the_rates_of_the_table():
    values = _sent(CoProcessor(WheelsFree(), 0), 2 * SECOND)

    for layout in UPWARDS:
        number = sum(isinstance(value, layout.value) for value in values)
        expected = {"A": 0, "J": 0}.get(layout.letter, 2 * layout.rate_hz)
        assert number == expected, layout.letter


def test_what_the_machine_has_is_reported():
    processor = CoProcessor(WheelsFree(counts_per_second=1000.0), 0, Firmware(max_duty=0.9, name="bench 3"))
    processor.feed(encode(FORWARD) + encode(ServoCommand(1, 1, 1500, 200)), 0)

    last = {type(value): value for value in _sent(processor, 201 * MS)}

    assert last[CountsReport][3:] == (80, 60)
    assert last[HeadingReport][3:] == (9000, 0, 3)
    assert last[BatteryReport][3:] == (12150, 1000)
    assert last[JawsReport][3:] == (500, None)
    assert last[Identity][3:] == (900, "bench 3", 2)


def test_motors_are_at_zero_when_the_deadline_has_passed():
    processor = CoProcessor(WheelsFree(), 0)
    processor.feed(encode(FORWARD), 100 * MS)

    processor.due(10 * SECOND)

    assert processor.applied == [Applied(0, 0, 0), Applied(100 * MS, 0.4, 0.3), Applied(350 * MS, 0, 0)]


def test_the_commands_own_time_counts_where_it_is_shorter():
    processor = CoProcessor(WheelsFree(), 0)
    processor.feed(encode(FORWARD._replace(lasts_ms=60)), 0)

    answers = [value for value in _sent(processor, 200 * MS) if isinstance(value, Acknowledgement)]

    assert processor.applied[-1] == Applied(60 * MS, 0, 0)
    assert answers[-1][3:] == ("M", 10, Acceptance.LAPSED, 0, 0)


def test_the_deadline_can_be_switched_off_for_tests():
    processor = CoProcessor(WheelsFree(), 0, Firmware(deadline_ms=None))
    processor.feed(encode(FORWARD), 0)

    processor.due(100 * SECOND)

    assert processor.applied[-1] == Applied(0, 0.4, 0.3)


def test_a_repeated_old_command_does_not_keep_the_motors_going():
    processor = CoProcessor(WheelsFree(), 0)
    for now_ns in range(0, SECOND, 20 * MS):
        processor.feed(encode(FORWARD), now_ns)

    assert processor.applied[-1] == Applied(250 * MS, 0, 0)


def test_anyone_may_stop():
    """Zero from another sender is obeyed while the motors turn; only starting needs them at zero."""
    processor = CoProcessor(WheelsFree(), 0)
    processor.feed(encode(FORWARD), 0)

    processor.feed(encode(FORWARD._replace(session=2, left_permille=0, right_permille=0)), 50 * MS)

    assert processor.applied[-1][1:] == (0.0, 0.0)


@pytest.mark.parametrize(
    ("command", "verdict"),
    [
        (FORWARD._replace(sequence=11), Acceptance.ACCEPTED),
        (FORWARD, Acceptance.STALE),
        (FORWARD._replace(sequence=9), Acceptance.STALE),
        (FORWARD._replace(sequence=11, left_permille=1001), Acceptance.INVALID),
        (FORWARD._replace(sequence=11, lasts_ms=0), Acceptance.EXPIRED),
        (FORWARD._replace(session=2), Acceptance.OTHER_SESSION),
    ],
)
def test_each_command_is_answered_with_what_is_applied(command, verdict):
    processor = CoProcessor(WheelsFree(), 0)
    processor.feed(encode(FORWARD), 0)

    answer = _answer(processor, command, now_ns=50 * MS)

    assert answer[3:] == ("M", command.sequence, verdict, 400, 300)


@pytest.mark.parametrize(("pulse_us", "verdict"), [(0, 0), (500, 0), (2500, 0), (499, 2), (2501, 2)])
def test_a_servo_pulse_out_of_range_is_refused(pulse_us, verdict):
    answer = _answer(CoProcessor(WheelsFree(), 0), ServoCommand(1, 1, pulse_us, 100), now_ns=0)

    assert answer[3:6] == ("S", 1, verdict)


def test_sequences_may_wrap():
    processor = CoProcessor(WheelsFree(), 0)
    processor.feed(encode(FORWARD._replace(sequence=2**32 - 1)), 0)

    assert _answer(processor, FORWARD._replace(sequence=0), now_ns=1).verdict == Acceptance.ACCEPTED


def test_another_session_takes_over_once_the_motors_stand():
    processor = CoProcessor(WheelsFree(), 0)
    processor.feed(encode(FORWARD), 0)

    answer = _answer(processor, FORWARD._replace(session=2, sequence=1), now_ns=250 * MS)

    assert answer[3:] == ("M", 1, Acceptance.ACCEPTED, 400, 300)


def test_another_session_counts_its_servo_commands_afresh_too():
    processor = CoProcessor(WheelsFree(), 0)
    processor.feed(encode(ServoCommand(1, 50, 1500, 100)) + encode(FORWARD._replace(session=2)), 0)
    _sent(processor, 150 * MS)

    answer = _answer(processor, ServoCommand(2, 1, 1500, 100), now_ns=150 * MS)

    assert answer[3:6] == ("S", 1, Acceptance.ACCEPTED)


def test_duty_is_clipped_to_the_devices_own_maximum():
    processor = CoProcessor(WheelsFree(), 0, Firmware(max_duty=0.35))

    answer = _answer(processor, FORWARD._replace(right_permille=-1000), now_ns=0)

    assert answer[6:] == (350, -350)
    assert processor.applied[-1] == Applied(0, 0.35, -0.35)


def test_a_damaged_command_is_counted_and_not_obeyed():
    processor = CoProcessor(WheelsFree(), 0)
    processor.feed(encode(FORWARD).replace(b"400", b"900"), 0)

    assert processor.damage == {Damage.CHECKSUM: 1}
    assert processor.applied == [Applied(0, 0, 0)]


def test_jaws_hold_through_a_short_silence_and_go_limp_after_a_long_one():
    moves = []

    class Jaws(WheelsFree):
        def servo(self, pulse_s, now_ns):
            moves.append((now_ns, pulse_s))

    processor = CoProcessor(Jaws(), 0)
    processor.feed(encode(ServoCommand(1, 1, 1500, 100)), SECOND)
    processor.due(9 * SECOND)
    processor.due(20 * SECOND)

    assert moves == [(0, None), (SECOND, 0.0015), (11 * SECOND, None)]


def test_a_reboot_starts_everything_again():
    processor = CoProcessor(WheelsFree(), 0)
    processor.feed(encode(FORWARD), 0)
    processor.due(200 * MS)

    processor.reboot(200 * MS)
    counts = next(value for value in _sent(processor, 220 * MS, 200 * MS) if isinstance(value, CountsReport))

    assert counts == CountsReport(sequence=0, device_ms=0, boot=2, left=0, right=0)
    assert processor.applied[-1] == Applied(200 * MS, 0, 0)
    assert _answer(processor, FORWARD, now_ns=300 * MS).verdict == Acceptance.ACCEPTED


def test_the_devices_clock_has_its_own_pace_and_wraps():
    processor = CoProcessor(WheelsFree(), 0, Firmware(skew=0.005, first_ms=2**32 - 1000))

    assert _sent(processor, 2001 * MS)[-1].device_ms == 1010


def test_periods_missed_are_not_made_up_for():
    processor = CoProcessor(WheelsFree(), 0)
    processor.due(0)

    assert processor.due(10 * SECOND).count(b"$PXFRC") == 1


def test_a_board_of_revision_1_says_nothing_of_it_and_reads_no_command_with_a_time():
    processor = CoProcessor(WheelsFree(), 0, Firmware(revision=1))
    processor.feed(encode(FORWARD._replace(until_ms=100)), 0)
    assert processor.applied[-1][1:] == (0.0, 0.0)
    identity = next(value for value in _sent(processor, 10 * MS) if isinstance(value, Identity))
    assert identity.revision is None
    processor.feed(encode(FORWARD), 20 * MS)
    assert processor.applied[-1][1:] == (0.4, 0.3)
