import time
from collections.abc import Callable, Iterator

import pytest


@pytest.fixture
def eventually() -> Iterator[Callable[[Callable[[], object]], object]]:
    """Wait for a condition to come true; another process is at work, so only a generous limit ends the wait."""

    def wait(condition: Callable[[], object]) -> object:
        for _ in range(30_000):
            if answer := condition():
                return answer
            time.sleep(0.002)
        raise AssertionError("the condition never came true")

    return wait
