"""The ultrasonic range finder: pulses to distances, what is refused, and the driver at a board's lines."""

from contextlib import closing

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.devices.kernel.files import DeviceError
from rover.devices.kernel.gpio import Edge
from rover.devices.range.echo_pins import EchoTimer, MedianOf, Range, RefusedEcho, speed_of_sound
from rover.devices.range.keys import EchoPinsKeys
from rover.devices.readings import RangeValue

MS, SECOND = 1_000_000, 1_000_000_000
OPTIONS = EchoPinsKeys(trigger=23, echo=24).options


def echo_ns(distance, celsius=20.0):
    return round(2.0 * distance / speed_of_sound(celsius) * SECOND)


def pulse(timer, rise_ns, lasts_ns):
    assert timer.see(Edge(24, True, rise_ns, 1)) is None
    return timer.see(Edge(24, False, rise_ns + lasts_ns, 2))


@given(distance=st.floats(0.031, 3.99), celsius=st.floats(-20.0, 50.0))
def test_what_is_heard_is_the_way_there_and_back_at_the_airs_temperature(distance, celsius):
    timer = EchoTimer(0.03, 4.0, celsius)
    timer.ping(0)
    lasts_ns = echo_ns(distance, celsius)
    taken_ns, value = pulse(timer, MS, lasts_ns)
    assert value.distance == pytest.approx(distance, abs=1e-6)
    assert taken_ns == MS + lasts_ns // 2


def test_a_pulse_longer_than_the_farthest_way_is_no_echo():
    timer = EchoTimer(0.03, 4.0, 20.0)
    timer.ping(0)
    assert pulse(timer, MS, 38 * MS) == (MS, RangeValue(None))


def test_a_pulse_shorter_than_the_nearest_way_is_refused():
    timer = EchoTimer(0.03, 4.0, 20.0)
    timer.ping(0)
    assert pulse(timer, MS, echo_ns(0.029)) is RefusedEcho.TOO_SHORT


@pytest.mark.parametrize("rise_ns", [-MS, 11 * MS])
def test_a_pulse_that_our_ping_did_not_begin_is_refused(rise_ns):
    timer = EchoTimer(0.03, 4.0, 20.0)
    timer.ping(0)
    assert pulse(timer, rise_ns, echo_ns(1.0)) is RefusedEcho.CROSSTALK


def test_a_fall_without_a_rise_is_nothing():
    assert EchoTimer(0.03, 4.0, 20.0).see(Edge(24, False, MS, 1)) is None


def medians(size, distances):
    median = MedianOf(size, SECOND)
    found = [median.add(index * 10 * MS, RangeValue(distance)) for index, distance in enumerate(distances)]
    return [None if one is None else (one[0] // MS, one[1].distance) for one in found]


def test_a_stray_echo_and_a_missing_one_leave_the_median_alone():
    assert medians(3, [1.0, 0.2, 1.1, None, 1.2]) == [None, None, (10, 1.0), (20, 1.1), (30, 1.2)]


def test_no_echo_most_of_the_time_is_no_echo():
    assert medians(3, [None, 1.0, None]) == [None, None, (10, None)]


def test_a_gap_begins_the_median_anew():
    median = MedianOf(3, 100 * MS)
    for at_ms in (0, 10, 20):
        median.add(at_ms * MS, RangeValue(1.0))
    assert median.add(500 * MS, RangeValue(2.0)) is None


@given(st.lists(st.one_of(st.none(), st.floats(0.03, 4.0)), min_size=5, max_size=30))
def test_the_times_of_medians_never_go_back(distances):
    taken = [one[0] for one in medians(5, distances) if one is not None]
    assert taken == sorted(taken)


def test_pings_go_out_at_the_rate_and_never_before_echoes_have_died_away(board):
    with closing(Range(OPTIONS | {"rate": 1000.0})) as sensor:
        pings = []
        for now_ms in range(0, 200, 5):
            before = len(board.history)
            sensor.poll(now_ms * MS)
            assert not board.level[23]
            pings += [now_ms] * any(write.get(23) for write in board.history[before:])
        assert pings == [0, 60, 120, 180]


def test_distances_come_as_readings_with_the_time_of_the_echo(board):
    with closing(Range(OPTIONS)) as sensor:
        assert list(sensor.poll(0)) == []
        board.edge(24, True, MS)
        board.edge(24, False, MS + echo_ns(1.5))
        (reading,) = sensor.poll(20 * MS)
        assert reading.value.distance == pytest.approx(1.5, abs=1e-6)
        assert reading.taken_ns == MS + echo_ns(1.5) // 2


def test_no_ping_goes_out_while_the_sensor_still_listens(board):
    with closing(Range(OPTIONS)) as sensor:
        sensor.poll(0)
        board.edge(24, True, MS)
        before = len(board.history)
        sensor.poll(SECOND)
        assert len(board.history) == before


def test_an_unplugged_sensor_reports_nothing(board):
    """Neither an echo line that never rises, nor one that is stuck high."""
    with closing(Range(OPTIONS)) as sensor:
        assert [reading for now in range(50) for reading in sensor.poll(now * 20 * MS)] == []
        board.level[24] = True
        assert [reading for now in range(50, 100) for reading in sensor.poll(now * 20 * MS)] == []


def test_refused_pulses_are_counted(board):
    with closing(Range(OPTIONS)) as sensor:
        sensor.poll(0)
        board.edge(24, True, MS)
        board.edge(24, False, MS + 1000)
        assert list(sensor.poll(20 * MS)) == []
        assert sensor.refused == {RefusedEcho.TOO_SHORT: 1, RefusedEcho.CROSSTALK: 0}


def test_a_trigger_pin_in_use_leaves_the_echo_pin_free(board):
    board.held = {23}
    with pytest.raises(DeviceError, match="line 23: in use"):
        Range(OPTIONS)
    assert board.held == {23}
