"""Zero on a real pseudo-terminal whose far end a test holds, and on files laid out as the kernel's."""

import os

import pytest

from rover.guard.serial_line import SerialLine
from rover.guard.serial_output import SerialOutput
from rover.guard.settings import GuardSettings
from rover.guard.zero import REPEAT_NS, Zero, write_to_channels

from .far_end import SESSION, on_line

pytestmark = pytest.mark.real_time

MS = 1_000_000


@pytest.fixture
def settings(folder):
    return GuardSettings(drive=on_line(folder / "line"))


@pytest.fixture
def output(settings, far, clock):
    output = SerialOutput(settings.drive, SESSION, clock)
    output.work(clock.ns)
    return output


@pytest.fixture
def zero(settings, output, clock):
    """It has been handed the line, and the guard has gone on writing."""
    zero = Zero(settings, SESSION, clock)
    zero.hold(os.dup(output.descriptor()))
    return zero


def test_it_is_a_command_of_the_same_session_above_all_that_the_guard_has_sent(output, zero, far, clock):
    output.drive(0.5, 0.5, clock.ns + 200 * MS)
    first, moving = far.commands(2)
    zero.write()
    (again,) = far.commands()
    zero.write()
    (last,) = far.commands()
    assert [command[2:4] for command in (first, moving, again, last)] == [(0, 0), (500, 500), (0, 0), (0, 0)]
    assert first.session == again.session == last.session
    sequences = [command.sequence for command in (first, moving, again, last)]
    assert sequences == sorted(set(sequences))


def test_what_a_halted_guard_says_afterwards_is_old_and_the_next_guard_is_obeyed(settings, output, zero, far, clock):
    far.commands()
    zero.write()
    output.drive(0.5, 0.5, clock.ns + 200 * MS)
    last, late = far.commands(2)
    assert late.sequence < last.sequence
    clock.ns += 200 * MS
    output.close()
    zero.take_over()
    far.commands()
    later = SerialOutput(settings.drive, SESSION, clock)
    later.work(clock.ns)
    assert far.commands()[0].sequence > last.sequence
    later.close()


def test_it_throws_away_what_waits_and_what_is_half_written(output, zero, far, clock):
    far.commands()
    for _ in range(1000):
        output.drive(0.5, 0.5, clock.ns + 200 * MS)
    zero.write()
    commands = []
    while not commands or commands[-1].left_permille != 0:
        commands += far.commands()
    assert len(commands) < 200, "of a thousand"


def test_a_line_that_takes_nothing_holds_it_up_for_a_moment_only(output, zero, far, clock):
    far.commands()
    far.block()
    zero.write()
    far.unblock()
    zero.write()
    assert far.commands()[-1][2:4] == (0, 0)


def test_it_is_repeated_between_two_guards_only(output, zero, far, clock):
    far.commands()
    zero.repeat()
    zero.take_over()
    zero.repeat()
    zero.repeat()
    clock.ns += REPEAT_NS
    zero.repeat()
    sequences = [command.sequence for command in far.commands(2)]
    assert sequences[1] - sequences[0] == REPEAT_NS // MS
    zero.hold(os.dup(output.descriptor()))
    clock.ns += REPEAT_NS
    zero.repeat()
    output.drive(0.5, 0.5, clock.ns + 200 * MS)
    assert far.commands()[0].left_permille == 500, "that was the guard"


def test_a_line_that_is_gone_is_let_go(zero, far):
    far.hang_up()
    zero.write()
    assert zero.line is None
    zero.write()


def test_a_port_that_both_hold_can_be_opened_again_once_the_guard_has_closed_it(settings, output, zero, clock):
    """The lock belongs to the opening, which they share."""
    output.close()
    line = SerialLine(str(settings.drive["port"]), 115200, clock)
    assert line.open(clock.ns), line.trouble
    line.close("closed")


def test_a_port_of_a_guard_that_was_killed_can_be_opened_again(settings, output, zero, clock):
    os.close(output.descriptor())
    zero.take_over()
    line = SerialLine(str(settings.drive["port"]), 115200, clock)
    assert line.open(clock.ns), line.trouble
    line.close("closed")


def test_zero_is_written_to_every_channel_though_one_cannot_be(rigs, folder, capsys):
    """Whoever holds them: nothing of the guard is needed for it."""
    judge = rigs.Judge("peer_pins.py", folder)
    chip = folder / "pwm" / "pwmchip0"
    for channel in (0, 1):
        (chip / f"pwm{channel}" / "duty_cycle").write_text("25000\n")
    (chip / "pwm0" / "duty_cycle").unlink()
    (chip / "pwm0" / "duty_cycle").mkdir()
    write_to_channels(
        GuardSettings(drive={}, channels=tuple((str(folder / "pwm"), 0, channel) for channel in (0, 1, 7)))
    )
    assert (chip / "pwm1" / "duty_cycle").read_text().startswith("0\n")
    assert "PWM channel 0 of chip 0: cannot be brought to zero" in capsys.readouterr().err
    judge.close()


def test_jaws_on_pins_go_limp_with_their_guard_whatever_they_hold(rigs, folder):
    """Nobody is left that could end their push."""
    judge = rigs.Judge("peer_pins.py", folder)
    pulse = folder / "pwm" / "pwmchip0" / "pwm1" / "duty_cycle"
    pulse.write_text("1100000\n")
    servo = {"open": 0.0019, "closed": 0.0011, "on_stop": "hold"}
    servo |= {"pwm_files": str(folder / "pwm"), "pwm_chip": 0, "pwm_channel": 1}
    zero = Zero(GuardSettings(drive={}, servo=servo, channels=((str(folder / "pwm"), 0, 1),)), SESSION)
    zero.write()
    assert pulse.read_text().startswith("0\n")
    judge.close()
