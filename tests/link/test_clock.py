import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.link.clock import MOST_CORNERS, DeviceClock

MS = 1_000_000
SECOND = 1_000_000_000
OFFSET_NS = 7_000 * SECOND


def _arrivals(seconds: int, drift: float, jitter_ms: float, seed: int = 1):
    """Yield (sent, device ms, received), context ns: 50 sentences a second of a device whose clock drifts."""
    draw = random.Random(seed)
    received_ns = 0
    for number in range(seconds * 50):
        sent_ns = OFFSET_NS + number * 20 * MS
        delay_ns = round(draw.expovariate(1.0) * jitter_ms * MS)
        received_ns = max(received_ns, sent_ns + delay_ns)
        yield sent_ns, int(number * 20 * (1.0 + drift)), received_ns


@pytest.mark.parametrize("drift", [-0.005, 0.0, 0.005])
def test_the_time_of_sending_is_found_through_drift_and_jitter(drift):
    clock = DeviceClock()
    errors = [clock.host_ns(ms, 1, received) - sent for sent, ms, received in _arrivals(120, drift, jitter_ms=8.0)]

    assert max(map(abs, errors[50 * 20 :])) < 3 * MS
    # Host seconds gained for each device second: the inverse of the drift.
    assert clock.skew == pytest.approx(1 / (1 + drift) - 1, abs=2e-4)


def test_raw_arrival_times_would_have_been_worse():
    clock = DeviceClock()
    pairs = [
        (abs(received - sent), abs(clock.host_ns(ms, 1, received) - sent))
        for sent, ms, received in _arrivals(60, 0.005, jitter_ms=8.0)
    ]

    assert sum(mapped for _, mapped in pairs) < 0.2 * sum(raw for raw, _ in pairs)


def test_a_stall_of_the_link_does_not_move_the_times():
    clock = DeviceClock()
    for number in range(500):
        clock.host_ns(number * 20, 1, OFFSET_NS + number * 20 * MS)

    stalled = [clock.host_ns(10_000 + number * 20, 1, OFFSET_NS + 13_000 * MS) for number in range(150)]

    assert stalled == [OFFSET_NS + (10_000 + number * 20) * MS for number in range(150)]


def test_the_count_of_milliseconds_may_wrap():
    clock = DeviceClock()
    first_ms = 2**32 - 100

    times = [
        clock.host_ns((first_ms + step) % 2**32, 1, OFFSET_NS + step * MS) - OFFSET_NS for step in range(0, 300, 20)
    ]

    assert times == [step * MS for step in range(0, 300, 20)]
    assert clock.boot == 1


@pytest.mark.parametrize(("boot", "expected"), [(5, 5), (4, 5)], ids=["new number", "forgotten number"])
def test_a_restart_begins_a_new_estimate(boot, expected):
    clock = DeviceClock()
    clock.host_ns(90_000, 4, OFFSET_NS)

    assert clock.host_ns(30, boot, OFFSET_NS + 5 * SECOND) == OFFSET_NS + 5 * SECOND
    assert clock.boot == expected


@given(
    st.lists(st.tuples(st.integers(0, 5000), st.integers(0, 5000), st.integers(0, 300)), min_size=1, max_size=60),
)
def test_times_never_go_back_and_never_lie_after_the_arrival(steps):
    clock = DeviceClock()
    device_ms, received_ns, last_ns = 0, OFFSET_NS, 0

    for device_step, host_step, boot_step in steps:
        device_ms = device_ms + device_step
        received_ns += host_step * MS
        taken_ns = clock.host_ns(device_ms, boot_step // 299, received_ns)

        assert last_ns <= taken_ns <= received_ns
        last_ns = taken_ns


def test_memory_stays_bounded_on_a_curved_lag():
    clock = DeviceClock()

    for number in range(20_000):
        clock.host_ns(number * 20, 1, OFFSET_NS + number * 20 * MS + number * number)

    assert len(clock._hull) <= MOST_CORNERS
