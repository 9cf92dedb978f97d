"""The serial output on a real pseudo-terminal whose far end a test holds."""

import pytest
import serial

from rover.guard.serial_output import ANSWER_WITHIN_NS, UNDERSTOOD_WITHIN_NS, SerialOutput
from rover.link.codec import encode
from rover.link.sentences import Acceptance, CountsReport, MotorCommand, ServoCommand, TrueHeading

from .far_end import SESSION, FarEnd, on_line

MS = 1_000_000


@pytest.fixture
def output(folder, far, clock):
    output = SerialOutput(on_line(folder / "line", swap_sides=True), SESSION, clock)
    output.work(clock.ns)
    yield output
    output.close()


def test_the_first_word_on_a_line_is_zero(output, far):
    (command,) = far.commands()
    assert isinstance(command, MotorCommand)
    assert (command.session, command.left_permille, command.right_permille) == (SESSION, 0, 0)


def test_duties_go_out_with_the_time_they_have_left(output, far, clock):
    far.commands()
    assert output.drive(0.25, -0.5, clock.ns + 120 * MS) == (0.25, -0.5)
    (command,) = far.commands()
    assert (command.left_permille, command.right_permille) == (-500, 250), "the channels are swapped"
    assert command.lasts_ms == 120


def test_a_command_that_has_run_out_is_not_sent(output, far, clock):
    far.commands()
    output.drive(0.25, 0.25, clock.ns)
    output.servo(1500, clock.ns)
    output.drive(0.75, 0.75, clock.ns + 100 * MS)
    assert [command.left_permille for command in far.commands()] == [750]


def test_sequences_rise_and_those_of_a_later_guard_lie_above(folder, output, far, clock):
    output.drive(0.1, 0.1, clock.ns + 100 * MS)
    output.drive(0.2, 0.2, clock.ns + 100 * MS)
    sequences = [command.sequence for command in far.commands(3)]
    assert sequences == sorted(set(sequences))
    output.close()
    far.commands()
    clock.ns += 500 * MS
    later = SerialOutput(on_line(folder / "line"), SESSION, clock)
    later.work(clock.ns)
    assert far.commands()[0].sequence > sequences[-1]
    later.close()


def test_zero_throws_away_what_has_not_gone_out(output, far, clock):
    """What waits in the kernel would be obeyed late, each command for its whole time."""
    far.commands()
    for _ in range(1000):
        output.drive(0.5, 0.5, clock.ns + 200 * MS)
    assert output.is_pending(), "the far end reads nothing, so the line is full"
    output.zero()
    assert not output.is_pending()
    commands = []
    while not commands or commands[-1].left_permille != 0:
        commands += far.commands()
    assert len(commands) < 200, "of a thousand"


def test_a_line_that_takes_nothing_gets_the_newest_of_each_kind_and_no_command_cut(output, far, clock):
    far.commands()
    far.block()
    numbers = 5000
    for number in range(numbers):
        output.drive(number / 10_000, 0.0, clock.ns + 200 * MS)
    output.servo(1500, clock.ns + 200 * MS)
    far.unblock()
    commands = []
    while not commands or not isinstance(commands[-1], ServoCommand):
        output.work(clock.ns)
        commands += far.commands()
    assert len(commands) < numbers
    assert commands[-2].right_permille == round((numbers - 1) / 10)
    assert far.damage == {}


def test_nothing_is_put_behind_a_queue_that_the_driver_still_holds(output, far, clock, monkeypatch):
    # A pseudo-terminal has no such queue.
    far.commands()
    queued = [500]
    monkeypatch.setattr(serial.Serial, "out_waiting", property(lambda self: queued[0]))
    output.drive(0.1, 0.1, clock.ns + 200 * MS)
    assert output.is_pending()
    output.drive(0.2, 0.2, clock.ns + 200 * MS)
    queued[0] = 0
    output.work(clock.ns)
    assert [command.left_permille for command in far.commands()] == [200]


def test_what_waited_when_the_line_was_lost_is_not_sent_afterwards(folder, output, far, clock):
    far.block()
    output.drive(0.5, 0.5, clock.ns + 60_000 * MS)
    output.servo(1500, clock.ns + 60_000 * MS)
    far.hang_up()
    output.work(clock.ns)
    output.drive(0.5, 0.5, clock.ns + 60_000 * MS)
    (folder / "line").unlink()
    again = FarEnd(folder / "line")
    clock.ns += 300 * MS
    output.work(clock.ns)
    output.servo(1200, clock.ns + 100 * MS)
    zero, pulse = again.commands(2)
    assert (zero.left_permille, zero.right_permille, pulse.pulse_us) == (0, 0, 1200)


def test_a_servo_pulse_that_changes_nothing_is_repeated_seldom(output, far, clock):
    far.commands()
    for _ in range(10):
        output.servo(1500, clock.ns + 100 * MS)
        clock.ns += 20 * MS
    output.servo(1200, clock.ns + 100 * MS)
    pulses = far.commands(3)
    assert all(isinstance(command, ServoCommand) for command in pulses)
    assert [command.pulse_us for command in pulses] == [1500, 1500, 1200]


def test_a_device_that_has_not_answered_is_not_there(output, far, clock, eventually):
    (command,) = far.commands()
    assert "has not answered yet" in output.fault
    far.answer(command.sequence)
    eventually(lambda: output.work(clock.ns) or output.fault == "")


def test_a_device_that_stops_answering_is_told(output, far, clock, eventually):
    far.answer(far.commands()[0].sequence)
    eventually(lambda: output.work(clock.ns) or output.fault == "")
    output.zero()
    clock.ns += ANSWER_WITHIN_NS
    assert output.fault == ""
    clock.ns += MS
    assert "does not answer" in output.fault
    far.answer(far.commands()[0].sequence - 1)
    eventually(lambda: output.work(clock.ns))
    assert "does not answer" in output.fault, "that was the answer to an earlier command"


def test_a_device_that_is_not_understood_while_wheels_turn_is_told_sooner(output, far, clock, eventually):
    far.answer(far.commands()[0].sequence)
    eventually(lambda: output.work(clock.ns) or output.fault == "")
    output.drive(0.5, 0.5, clock.ns + 200 * MS)
    clock.ns += UNDERSTOOD_WITHIN_NS
    assert output.fault == ""
    clock.ns += MS
    assert "has not been understood for 220 ms" in output.fault
    output.drive(0.0, 0.0, clock.ns + 200 * MS)
    assert output.fault == ""
    output.drive(0.5, 0.5, clock.ns + 200 * MS)
    far.say(encode(CountsReport(0, 0, 1, 7, 8))[:-5] + b"*00\r\n")
    eventually(lambda: output.work(clock.ns))
    assert output.fault
    far.say(encode(TrueHeading(12.0)))
    eventually(lambda: output.work(clock.ns))
    assert output.fault, "eight bits of checksum prove nothing"
    far.say(encode(CountsReport(0, 0, 1, 7, 8)))
    eventually(lambda: output.work(clock.ns))
    assert output.fault == ""


def test_an_answer_does_not_stand_for_what_was_sent_since(output, far, clock, eventually):
    far.answer(far.commands()[0].sequence)
    eventually(lambda: output.work(clock.ns) or output.fault == "")
    output.drive(0.5, 0.5, clock.ns + 200 * MS)
    output.drive(0.6, 0.6, clock.ns + 200 * MS)
    far.answer(far.commands(2)[0].sequence)
    eventually(lambda: output.work(clock.ns))
    clock.ns += ANSWER_WITHIN_NS + MS
    assert "does not answer" in output.fault


def test_bytes_are_passed_on_as_they_are(output, far, clock, eventually):
    far.say(b"noise $PXFRA,bad*00\r\n\xff")
    assert eventually(lambda: output.work(clock.ns)) == b"noise $PXFRA,bad*00\r\n\xff"


def test_a_line_that_hangs_up_is_told_and_opened_again(folder, output, far, clock):
    far.hang_up()
    output.work(clock.ns)
    assert "is gone" in output.fault
    assert output.drive(0.5, 0.5, clock.ns + 200 * MS) == (0.5, 0.5)
    clock.ns += 300 * MS
    output.work(clock.ns)
    assert output.fault.startswith("no such port")
    (folder / "line").unlink()
    again = FarEnd(folder / "line")
    clock.ns += 300 * MS
    output.work(clock.ns)
    commands = again.commands()
    assert [(command.left_permille, command.right_permille) for command in commands] == [(0, 0)]


@pytest.mark.parametrize(("for_ms", "alarm"), [(100, ""), (300, "came too late")])
def test_a_command_that_ran_out_though_later_ones_were_sent_long_since_is_an_alarm(
    output, far, clock, eventually, for_ms, alarm
):
    """The last one of a hold-to-run word runs out at the device as the next word begins: that is none."""
    far.answer(far.commands()[0].sequence)
    eventually(lambda: output.work(clock.ns) or output.fault == "")
    output.drive(0.5, 0.5, clock.ns + 20 * MS)
    (last,) = far.commands()
    for _ in range(for_ms // 20):
        clock.ns += 20 * MS
        output.drive(0.5, 0.5, clock.ns + 200 * MS)
    far.answer(last.sequence, Acceptance.LAPSED)
    clock.ns += MS
    told = eventually(lambda: output.work(clock.ns) and [output.alarm()])
    assert alarm in told[0]
    assert bool(told[0]) is bool(alarm)


def test_a_command_that_ran_out_before_the_wheels_were_brought_to_zero_is_no_alarm(output, far, clock, eventually):
    far.answer(far.commands()[0].sequence)
    eventually(lambda: output.work(clock.ns) or output.fault == "")
    output.drive(0.5, 0.5, clock.ns + 200 * MS)
    (last,) = far.commands()
    clock.ns += 250 * MS
    output.zero()
    clock.ns += 100 * MS
    output.drive(0.5, 0.5, clock.ns + 200 * MS)
    far.answer(last.sequence, Acceptance.LAPSED)
    assert eventually(lambda: output.work(clock.ns) and [output.alarm()]) == [""]
