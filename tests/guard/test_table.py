"""The faults of the table at a few random moments each; the table itself takes hundreds of moments."""

from pathlib import Path

import pytest

MOMENTS = 3
MANY = 20
NAMES = (
    *("runtime killed, serial", "runtime in an endless loop, GIL held, serial", "runtime stopped (SIGSTOP), serial"),
    *("disk full under the runtime's record, serial", "far end of the line closed, serial"),
    *("line takes no more bytes, serial", "guard killed, serial", "guard stopped (SIGSTOP), serial"),
    *("runtime and guard killed, serial", "runtime killed, pins", "runtime in an endless loop, GIL held, pins"),
    *("runtime stopped (SIGSTOP), pins", "disk full under the runtime's record, pins", "guard killed, pins"),
    *("guard stopped (SIGSTOP), pins", "runtime and guard killed, pins"),
)


def cases(table):
    return {case.name: case for case in table.CASES}


def test_every_fault_of_the_table_is_tried(table):
    assert tuple(cases(table)) == NAMES


@pytest.mark.parametrize("name", NAMES)
def test_the_wheels_are_at_zero_within_300_ms(table, name):
    took_ms = table.measure(cases(table)[name], MOMENTS, seed=3)
    assert max(took_ms) <= table.ALLOWED_MS


@pytest.mark.long
@pytest.mark.parametrize("name", NAMES)
def test_the_wheels_are_at_zero_within_300_ms_at_more_moments(table, name):
    took_ms = table.measure(cases(table)[name], MANY, seed=4)
    assert max(took_ms) <= table.ALLOWED_MS


def test_the_judge_sees_wheels_that_turn_on(table, folder: Path):
    """A check that could not fail would prove nothing: without a fault the wheels are never at zero."""
    case = cases(table)["runtime killed, serial"]._replace(make=table.nothing)
    assert table.measure(case, 1, seed=5) == [float("inf")]
