from hypothesis import given
from hypothesis import strategies as st

from rover.session.clocks import PacedClock, next_due
from rover.session.wired import Wiring


def test_time_begins_at_zero_and_never_goes_back():
    clock = PacedClock(100.0)
    times = [clock.now_ns() for _ in range(1000)]
    assert 0 <= times[0] < 10**11
    assert times == sorted(times)


def test_after_sleeping_the_time_has_come():
    clock = PacedClock(1000.0)
    due_ns = clock.now_ns() + 5_000_000_000
    clock.sleep_until(due_ns)
    assert clock.now_ns() >= due_ns


def test_what_has_passed_is_not_slept_for():
    clock = PacedClock(1.0)
    clock.sleep_until(-(10**18))


class SetClock:
    """A clock that stands where it is set; sleeping moves it on."""

    def __init__(self, now_ns):
        self.now = now_ns

    def now_ns(self):
        return self.now

    def sleep_until(self, due_ns):
        self.now = max(self.now, due_ns)


PERIOD_NS = 20_000_000


@given(last=st.integers(0, 10**12), late=st.integers(0, 10**10))
def test_late_steps_are_skipped_and_never_caught_up(last, late):
    """Steps stay in order, at least a period apart from the last, and the next one is due now, not in the past."""
    clock = SetClock(last + late)
    step = Wiring(clock, {}, {}).next_step(last, PERIOD_NS)
    assert step >= last + PERIOD_NS
    assert last + late <= step <= last + max(late, PERIOD_NS)


def test_steps_in_time_are_a_period_apart():
    wiring, now_ns, steps = Wiring(SetClock(0), {}, {}), 0, []
    for _ in range(5):
        now_ns = wiring.next_step(now_ns, PERIOD_NS)
        steps.append(now_ns)
    assert steps == [PERIOD_NS * index for index in range(1, 6)]


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
