import time
from collections.abc import Callable, Iterator

import pytest

Clock = Callable[[], int]


def fast_clock(speed: int) -> Clock:
    """Return a clock that runs ``speed`` times as fast as real time."""
    start_ns = time.monotonic_ns()
    return lambda: start_ns + (time.monotonic_ns() - start_ns) * speed


@pytest.fixture
def now_ns() -> Clock:
    return fast_clock(5)


@pytest.fixture
def eventually() -> Iterator[Callable[[Callable[[], object]], object]]:
    """Wait for a condition to come true; real threads are at work, so only a generous limit ends the wait."""

    def wait(condition: Callable[[], object]) -> object:
        for _ in range(20_000):
            if answer := condition():
                return answer
            time.sleep(0.001)
        raise AssertionError("the condition never came true")

    return wait
