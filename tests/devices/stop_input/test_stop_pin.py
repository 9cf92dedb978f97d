"""The stop input: open circuit stops, at once; closing must last."""

from contextlib import closing

from hypothesis import given
from hypothesis import strategies as st

from rover.devices.stop_input.keys import StopPinKeys
from rover.devices.stop_input.stop_pin import SlowToClose, StopInput

MS = 1_000_000
OPTIONS = StopPinKeys(pin=17).options


def closed_at(driver, now_ms):
    return driver.poll(now_ms * MS)[0].value.closed


def test_one_that_is_closed_from_the_first_counts_as_closed(board):
    with closing(StopInput(OPTIONS)) as stop:
        assert closed_at(stop, 0)


def test_after_an_opening_it_counts_as_open_until_it_has_been_closed_for_its_time(board):
    board.level[17] = True
    with closing(StopInput(OPTIONS)) as stop:
        assert not closed_at(stop, 0)
        board.level[17] = False
        assert [closed_at(stop, now_ms) for now_ms in (5, 25, 45, 55, 65)] == [False, False, False, True, True]


def test_an_open_circuit_stops_at_once(board):
    with closing(StopInput(OPTIONS)) as stop:
        closed_at(stop, 0)
        assert closed_at(stop, 100)
        board.level[17] = True  # the pull-up lifts a wire that hangs free
        assert not closed_at(stop, 101)


def test_an_opening_between_two_polls_is_not_missed(board):
    with closing(StopInput(OPTIONS)) as stop:
        closed_at(stop, 0)
        assert closed_at(stop, 100)
        board.edge(17, True, 105 * MS)
        board.edge(17, False, 106 * MS)
        assert not closed_at(stop, 120)
        assert not closed_at(stop, 160)
        assert closed_at(stop, 170)


def test_an_opening_is_told_even_where_closing_need_not_last(board):
    with closing(StopInput(OPTIONS | {"settle": 0.0})) as stop:
        assert closed_at(stop, 0)
        board.edge(17, True, 5 * MS)
        board.edge(17, False, 6 * MS)
        assert not closed_at(stop, 20)
        assert closed_at(stop, 40)


def test_a_contact_to_the_supply_is_pulled_down(board):
    with closing(StopInput(OPTIONS | {"bias": "pull_down"})) as stop:
        assert board.requests[0].settings.bias == "down"
        board.level[17] = True
        closed_at(stop, 0)
        assert closed_at(stop, 50)
        board.level[17] = False
        assert not closed_at(stop, 51)


def test_opening_waits_for_no_debouncing_in_the_kernel(board):
    with closing(StopInput(OPTIONS)):
        assert board.requests[0].settings.debounce_period.total_seconds() == 0.0


@given(st.lists(st.tuples(st.booleans(), st.integers(0, 100)), max_size=50))
def test_closed_is_told_only_when_it_was_closed_all_that_time(steps):
    contact, now_ms, history = SlowToClose(50), 0, []
    for closed, later in steps:
        now_ms += later
        history.append((now_ms, closed))
        recent = [was for at, was in history if at > now_ms - 50]
        if contact.see(closed, now_ms):
            assert all(recent)
            assert history[0][0] <= now_ms - 50 or all(was for _, was in history), "or never open at all"
