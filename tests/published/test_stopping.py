"""Stopping and starting again, as standards for machines and driverless trucks ask for it.

No standard was read in full text. What was seen is said beside each: its own text, in a preview or an extract; others'
words that quote it; or nothing, where a clause's number is from memory. A stop by this software is no certified safety
function.
"""

import pytest

from rover.guard.permission import CommandGate, Permission
from rover.guard.protocol import Command, Ruling
from rover.stopping import Act, Phase

ME = 7
MS = 1_000_000
NOW = 1000 * MS


@pytest.fixture
def moving():
    permission = Permission()
    permission.enable(ME)
    assert permission.phase is Phase.RUNNING
    return permission


def test_power_up_starts_stopped():
    # No automatic restart after power interruption: ISO 3691-4:2020, 4.1.14 (text seen); unexpected start-up
    # includes the return of power: ISO 12100:2010, 3.31 (quoted by others).
    gate = CommandGate(250 * MS)
    permission = Permission()
    assert permission.phase is Phase.NOT_ENABLED
    assert gate.judge(Command(ME, 1, NOW, NOW + 250 * MS, 0.5, 0.5), permission, NOW) is Ruling.STOPPED


def test_a_stop_overrides_a_start(moving):
    # Stop functions override start functions: IEC 60204-1, 9.2.3 (quoted by others); available and effective at all
    # times: ISO 13850:2015, 4.1.1 (quoted by others).
    moving.enable(ME)
    moving.stop("stopped by an operator")
    moving.enable(ME)
    moving.resume()
    assert moving.phase is Phase.STOPPED


def test_a_stop_lasts_until_it_is_reset(moving):
    # The machine stays stopped until the device is deliberately reset: ISO 13850:2015 (4.1.4 from memory),
    # Directive 2006/42/EC, Annex I, 1.2.4.3 (text seen).
    moving.stop("stopped by an operator")
    moving.resume()
    assert moving.phase is Phase.STOPPED


def test_a_reset_only_permits_a_restart(moving):
    # Resetting must not itself restart, only permit restart: Directive 2006/42/EC, Annex I, 1.2.4.3 (text seen);
    # a separate and deliberate manual reset: ISO 13849-1:2015, 5.2.2 (quoted by others).
    moving.stop("stopped by an operator")
    moving.act(Act.PRESS, control="page")
    assert moving.act(Act.RELEASE, control="page") == ""
    assert moving.phase is Phase.READY
    assert moving.resume() == ""
    assert moving.phase is Phase.RUNNING


def test_a_reset_counts_on_release(moving):
    # Reset on release (falling edge) of the actuator: ISO 13849-1, as the manuals of two function blocks quote it.
    moving.stop("stopped by an operator")
    moving.act(Act.PRESS, control="page")
    assert moving.phase is Phase.RESETTING
    moving.act(Act.RELEASE, control="page")
    assert moving.phase is Phase.READY


def test_a_jammed_reset_resets_nothing(moving):
    # So that a jammed button cannot reset: as above.
    moving.stop("first")
    moving.act(Act.PRESS, control="page")
    moving.stop("second, while the control is down")
    assert moving.act(Act.RELEASE, control="page") != ""
    assert moving.phase is Phase.STOPPED


def test_only_the_control_that_was_pressed_can_reset(moving):
    moving.stop("stopped by an operator")
    moving.act(Act.PRESS, control="page")
    assert moving.act(Act.RELEASE, control="terminal") != ""
    assert moving.phase is Phase.RESETTING
