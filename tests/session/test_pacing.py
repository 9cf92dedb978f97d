"""The loop's times: a grid that nothing shifts, and late steps that are skipped and counted."""

from hypothesis import given
from hypothesis import strategies as st

from rover.session.pacing import next_due

PERIOD = 20


def test_in_time_the_next_step_is_a_period_later():
    assert next_due(100, 105, PERIOD) == (120, 0)


def test_a_little_late_it_is_taken_at_once_and_the_one_after_is_in_time_again():
    assert next_due(100, 130, PERIOD) == (120, 0)
    assert next_due(120, 131, PERIOD) == (140, 0)


def test_what_is_a_whole_period_late_is_skipped_and_never_caught_up():
    assert next_due(100, 185, PERIOD) == (180, 3)


@given(st.integers(0, 10**6), st.integers(0, 10**6), st.integers(1, 1000))
def test_times_stay_on_the_grid_and_at_most_one_step_is_behind(due, late, period):
    following, skipped = next_due(due, due + late, period)
    assert (following - due) % period == 0
    assert following == due + (1 + skipped) * period
    assert due + late - following < period
