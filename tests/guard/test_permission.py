import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.guard.permission import POWER_UP, CommandGate, Permission
from rover.guard.protocol import NOBODY, Command, Phase, Ruling

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
    permission.enable(ANOTHER)
    assert gate.judge(command(1, session=ANOTHER), permission, NOW) is Ruling.ACCEPTED


def test_the_first_cause_of_a_stop_is_kept():
    permission = running()
    permission.stop("the stop input is open")
    permission.stop("stopped by an operator")
    assert permission.cause == "the stop input is open"


def test_after_power_up_it_says_so_until_a_stop_is_demanded():
    permission = Permission()
    assert permission.cause == POWER_UP
    permission.stop("the stop input is open")
    assert permission.cause == "the stop input is open"


def test_without_a_demanded_stop_there_is_nothing_to_reset():
    for permission in (Permission(), running()):
        permission.press_reset("page")
        assert permission.release_reset("page") == "there is no stop to reset"


def test_the_control_that_is_released_has_to_be_the_one_that_was_pressed():
    permission = running()
    permission.stop("stopped by an operator")
    permission.press_reset("page")
    assert "pressed since the stop" in permission.release_reset("terminal")
    assert permission.phase is Phase.STOPPED
    assert permission.release_reset("page") == ""
    assert (permission.phase, permission.demanded) == (Phase.READY, False)


def test_a_resume_says_why_it_does_nothing():
    permission = running()
    assert permission.resume() == ""
    permission.stop("stopped by an operator")
    assert permission.resume() == "a stop has to be reset before motion can resume"


def test_a_permit_holder_that_is_gone_has_to_be_replaced_before_motion():
    permission = running()
    permission.lapse("the runtime fell silent")
    assert (permission.phase, permission.permit_holder) == (Phase.STOPPED, NOBODY)
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
    permission.press_reset("page")
    permission.release_reset("page")
    assert permission.resume() == "nobody has enabled motion"
    permission.enable(ME)
    assert permission.phase is Phase.READY
    assert permission.resume() == ""
    assert permission.phase is Phase.RUNNING


ACTS = {
    "stop": lambda permission, who: permission.stop("stop"),
    "lapse": lambda permission, who: permission.lapse("gone"),
    "press": lambda permission, who: permission.press_reset(who),
    "release": lambda permission, who: permission.release_reset(who),
    "resume": lambda permission, who: permission.resume(),
    "enable": lambda permission, who: permission.enable(ME),
}


@given(st.lists(st.tuples(st.sampled_from(sorted(ACTS)), st.sampled_from("ab"))))
def test_no_way_leads_from_a_stop_to_motion_but_press_release_resume(acts):
    """Whatever is done in whatever order, motion after a stop was preceded by all three, in this order."""
    permission = running()
    permission.stop("stop")
    since: list[str] = []
    for act, who in acts:
        since = [] if act == "stop" else [*since, act]
        before = permission.phase
        ACTS[act](permission, who)
        if act in ("press", "release"):
            assert permission.phase is not Phase.RUNNING or before is Phase.RUNNING
        if permission.phase is Phase.RUNNING:
            steps = iter(since)
            assert all(step in steps for step in ("press", "release", "resume"))
            return
