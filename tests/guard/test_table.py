"""Some rows of the kill table at a random moment each; the table itself takes a hundred moments."""

import signal

import pytest

pytestmark = pytest.mark.real_time

MANY = 10
ROWS = (
    *("runtime killed, run, serial without deadline", "runtime killed, run, pins"),
    *("runtime halted, run, serial without deadline", "runtime halted, run, pins"),
    *("guard killed, run, serial", "guard killed, run, pins", "guard halted, run, serial", "guard halted, run, pins"),
    *("runtime and guard killed, run, serial", "runtime and guard killed, run, pins"),
    *("line closed, run, serial", "line stalled, 0 bytes in its adapter, run, serial"),
    *("disk full under the record, light, serial", "disk full under the record, light, pins"),
)
HELD_LOCK = "own driver loops in c, run, serial without deadline"
"""Needs the real runtime; the others are as good with the small program that plays it, which starts sooner."""


def rows(table):
    return {row.name: row for row in table.rows()}


def worst_ms(found):
    """The longest time until the wheels were at zero for good."""
    return max(float("inf") if one.is_again or one.trouble else one.zero_ms for one in found)


@pytest.mark.parametrize("name", ROWS)
def test_the_wheels_are_at_zero_within_300_ms(table, name):
    row = rows(table)[name]._replace(program="light")
    assert worst_ms(table.measure(row, "3", range(1))) <= table.ALLOWED_MS


def test_they_are_when_an_own_driver_keeps_the_lock_of_the_interpreter(table):
    assert worst_ms(table.measure(rows(table)[HELD_LOCK], "3", range(1))) <= table.ALLOWED_MS


@pytest.mark.long
@pytest.mark.parametrize("name", [*ROWS, HELD_LOCK])
def test_they_are_with_the_real_runtime_at_more_moments(table, name):
    assert worst_ms(table.measure(rows(table)[name], "4", range(MANY))) <= table.ALLOWED_MS


def test_the_judge_sees_wheels_that_turn_on(table):
    """A check that could not fail would prove nothing: without a fault the wheels are never at zero."""
    row = rows(table)["runtime killed, run, serial"]._replace(program="light", make=table.sends(0, "runtime"))
    assert [one.zero_ms for one in table.measure(row, "5", range(1))] == [float("inf")]


def test_the_judge_sees_wheels_that_turn_again_and_jaws_that_push_on(table, rigs):
    ms = 1_000_000
    history = [
        *(rigs.Change(0, 500, 500, 1100), rigs.Change(200 * ms, 0, 0, 1100), rigs.Change(400 * ms, 500, 500, 1100)),
        *(rigs.Change(600 * ms, 0, 0, 1100), rigs.Change(900 * ms, 0, 0, 0)),
    ]
    assert table.wheels_after(history[:2], 100 * ms) == (100.0, False)
    assert table.wheels_after(history[:3], 100 * ms) == (float("inf"), True)
    assert table.wheels_after(history, 100 * ms) == (500.0, True)
    assert table.pushes(history, 0, "limp")
    assert not table.pushes(history, 100 * ms, "limp")
    opened = [*history, rigs.Change(900 * ms, 0, 0, table.OPEN_US)]
    assert [table.pushes(opened, 100 * ms, on_stop) for on_stop in ("hold", "release")] == [True, False]


def test_a_halt_and_what_undoes_it_reach_the_same_process(rigs, eventually):
    with rigs.rig("serial", "hold") as rig:
        rig.start("light")
        rig.drive(0.0)
        rig.signal(signal.SIGSTOP, ["runtime"])
        eventually(lambda: not rig.is_moving())
        rig.signal_again(signal.SIGKILL)
        eventually(rig.has_ended)
