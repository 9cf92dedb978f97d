import math

import pytest

from rover.guard.permission import POWER_UP, CommandGate, Permission
from rover.guard.protocol import NOBODY, Command, Ruling
from rover.stopping import Act, Phase

MS = 1_000_000
NOW = 1000 * MS
DEADLINE = 250 * MS
ME, ANOTHER = 7, 8


def running(session: int = ME) -> Permission:
    permission = Permission()
    permission.enable(session)
    return permission


def command(sequence: int = 1, age_ms: int = 0, left_ms: int = 250, **changed) -> Command:
    made = Command(ME, sequence, NOW - age_ms * MS, NOW + left_ms * MS, 0.5, 0.4)
    return made._replace(**changed)


@pytest.fixture
def gate():
    return CommandGate(DEADLINE)


def test_a_fresh_command_counts_until_it_expires(gate):
    assert gate.judge(command(left_ms=100), running(), NOW) is Ruling.ACCEPTED
    assert gate.until_ns == NOW + 100 * MS


def test_a_command_counts_no_longer_than_the_deadline_from_its_stamp(gate):
    assert gate.judge(command(age_ms=50, left_ms=10_000), running(), NOW) is Ruling.ACCEPTED
    assert gate.until_ns == NOW + 200 * MS


@pytest.mark.parametrize(
    ("refused", "why"),
    [
        (command(left=1.01), Ruling.INVALID),
        (command(right=math.nan), Ruling.INVALID),
        (command(pulse_us=499), Ruling.INVALID),
        (command(pulse_us=2501), Ruling.INVALID),
        (command(session=ANOTHER), Ruling.NOT_ENABLED),
        (command(left_ms=0), Ruling.EXPIRED),
        (command(age_ms=250, left_ms=10_000), Ruling.STALE),
        (command(stamp_ns=NOW + 2 * MS + 1), Ruling.FUTURE),
    ],
    ids=lambda value: value.name if isinstance(value, Ruling) else "",
)
def test_a_command_is_refused_and_renews_nothing(gate, refused, why):
    assert gate.judge(refused, running(), NOW) is why
    assert gate.until_ns == 0


@pytest.mark.parametrize(
    "accepted",
    [
        command(left=1.0, right=-1.0),
        *(command(pulse_us=pulse_us) for pulse_us in (None, 0, 500, 2500)),
        command(stamp_ns=NOW + 2 * MS),
        command(age_ms=249, left_ms=1),
    ],
)
def test_a_command_at_the_edge_of_what_may_be_counts(gate, accepted):
    assert gate.judge(accepted, running(), NOW) is Ruling.ACCEPTED


def test_under_a_stop_no_command_counts(gate):
    permission = running()
    permission.stop("stopped by an operator")
    assert gate.judge(command(), permission, NOW) is Ruling.STOPPED
    assert gate.until_ns == 0


@pytest.mark.parametrize("sequence", [5, 4, 0])
def test_an_old_command_repeated_renews_nothing(gate, sequence):
    permission = running()
    gate.judge(command(5, age_ms=20), permission, NOW)
    until_ns = gate.until_ns

    assert gate.judge(command(sequence), permission, NOW) is Ruling.OLD
    assert gate.until_ns == until_ns


def test_another_session_counts_from_its_own_beginning(gate):
    permission = running()
    gate.judge(command(5), permission, NOW)
    permission.lapse("gone")
    permission.enable(ANOTHER)
    assert gate.judge(command(1, session=ANOTHER), permission, NOW) is Ruling.ACCEPTED


def test_after_power_up_it_says_so_until_a_stop_is_demanded():
    permission = Permission()
    assert permission.cause == POWER_UP
    permission.stop("the stop input is open")
    assert permission.cause == "the stop input is open"


def test_the_control_that_is_released_has_to_be_the_one_that_was_pressed():
    permission = running()
    permission.stop("stopped by an operator")
    permission.act(Act.PRESS, control="page")
    assert "pressed since the stop" in permission.act(Act.RELEASE, control="terminal")
    assert permission.phase is Phase.RESETTING
    assert permission.act(Act.RELEASE, control="page") == ""
    assert permission.phase is Phase.READY


def test_one_program_does_not_drive_another_out():
    permission = running()
    assert permission.enable(ANOTHER) == "another program commands the robot"
    assert permission.permit_holder == ME
    permission.lapse("gone")
    assert permission.enable(ANOTHER) == ""


def test_a_permit_holder_that_is_gone_has_to_be_replaced_before_motion():
    permission = running()
    permission.lapse("the runtime fell silent")
    assert (permission.phase, permission.permit_holder) == (Phase.NOT_ENABLED, NOBODY)
    permission.enable(ANOTHER)
    assert permission.phase is Phase.RUNNING


def test_a_permit_holder_that_is_gone_takes_no_stop_away():
    permission = running()
    permission.stop("stopped by an operator")
    permission.lapse("the runtime fell silent")
    permission.enable(ANOTHER)
    assert (permission.phase, permission.cause) == (Phase.STOPPED, "stopped by an operator")


def test_resuming_needs_someone_who_enabled_motion():
    permission = Permission()
    permission.stop("stopped by an operator")
    permission.act(Act.PRESS, control="page")
    permission.act(Act.RELEASE, control="page")
    assert permission.resume() == "nobody has enabled motion"
    permission.enable(ME)
    assert permission.phase is Phase.READY
    assert permission.resume() == ""
    assert permission.phase is Phase.RUNNING


def test_in_a_hold_no_command_counts_and_a_resume_alone_ends_it(gate):
    permission = running()
    permission.act(Act.HOLD, "held")
    assert gate.judge(command(), permission, NOW) is Ruling.STOPPED
    permission.resume()
    assert gate.judge(command(), permission, NOW) is Ruling.ACCEPTED
