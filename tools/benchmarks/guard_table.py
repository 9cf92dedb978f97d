"""How soon the wheels are at zero when something dies, hangs or blocks: each fault at N random moments.

``python tools/benchmarks/guard_table.py [--moments 200] [--seed 1] [--only TEXT]`` prints the table; it takes about
a second a moment. A runtime process commands the wheels at 50 Hz through a real guard and supervisor. On the serial
path a pseudo-terminal leads to the co-processor's emulator, whose log of applied duties is the judge; its own deadline
is off where the guard is what is tried. On the pin path the judge looks at stand-ins for the kernel's PWM files each
millisecond. A moment fails unless both wheels are at zero within 300 ms and stay there.
"""

import argparse
import contextlib
import os
import random
import resource
import signal
import statistics
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import NamedTuple

from guard_rigs import Rig, pin_rig, serial_rig, wait_for

from rover.guard.client import state_of
from rover.link.emulator import Emulator

ALLOWED_MS = 300.0
WATCHED_S = 0.6


def kill_runtime(rig: Rig) -> None:
    rig.runtime.kill()


def hold_the_lock(rig: Rig) -> None:
    rig.runtime.send_signal(signal.SIGUSR1)


def stop_runtime(rig: Rig) -> None:
    rig.runtime.send_signal(signal.SIGSTOP)


def fill_disk(rig: Rig) -> None:
    _, hard = resource.prlimit(rig.runtime.pid, resource.RLIMIT_FSIZE)
    resource.prlimit(rig.runtime.pid, resource.RLIMIT_FSIZE, (1, hard))


def close_far_end(rig: Rig) -> None:
    assert isinstance(rig.wheels, Emulator)
    rig.wheels.unplug(WATCHED_S)


def block_writes(rig: Rig) -> None:
    """Let the far end read no more, and fill what the kernel holds for it, so that the guard's next write blocks."""
    rig.wheels._plug.read = lambda: b""  # type: ignore
    line = os.open(rig.folder / "main", os.O_WRONLY | os.O_NOCTTY | os.O_NONBLOCK)
    with contextlib.suppress(BlockingIOError):
        while os.write(line, b"x" * 4096):
            pass
    os.close(line)


def kill_guard(rig: Rig) -> None:
    os.kill(rig.guard_pid(), signal.SIGKILL)


def stop_guard(rig: Rig) -> None:
    os.kill(rig.guard_pid(), signal.SIGSTOP)


def kill_both(rig: Rig) -> None:
    kill_guard(rig)
    kill_runtime(rig)


def nothing(rig: Rig) -> None:
    pass


def unblock_writes(rig: Rig) -> None:
    del rig.wheels._plug.read  # type: ignore


@contextlib.contextmanager
def judge_on_time() -> Iterator[None]:
    """Let the threads of this process, which judges, go before ordinary ones where the system lets them."""
    # Not inherited: a runtime that goes before the guard as it starts would prove nothing but that.
    policy = os.SCHED_RR | os.SCHED_RESET_ON_FORK
    threads = [thread.native_id for thread in threading.enumerate() if thread.native_id]
    with contextlib.suppress(PermissionError):
        for thread in threads:
            os.sched_setscheduler(thread, policy, os.sched_param(2))
    yield
    with contextlib.suppress(PermissionError):
        os.sched_setscheduler(0, os.SCHED_OTHER, os.sched_param(0))


class Case(NamedTuple):
    """A fault: how it is made, which way to zero is tried by it, and how it is taken back."""

    fault: str
    path: str
    way: str
    make: Callable[[Rig], None]
    undo: Callable[[Rig], None] = nothing

    @property
    def name(self) -> str:
        """Fault and path."""
        return f"{self.fault}, {self.path}"

    def rig(self) -> "contextlib.AbstractContextManager[Rig]":
        """Return what the fault happens to."""
        return pin_rig() if self.path == "pins" else serial_rig(self.way == "co-processor")


_ON_RUNTIME = {
    "runtime killed": kill_runtime,
    "runtime in an endless loop, GIL held": hold_the_lock,
    "runtime stopped (SIGSTOP)": stop_runtime,
    "disk full under the runtime's record": fill_disk,
}
_ON_GUARD = {
    "guard killed": kill_guard,
    "guard stopped (SIGSTOP)": stop_guard,
    "runtime and guard killed": kill_both,
}
CASES = (
    *(Case(fault, "serial", "guard", make) for fault, make in _ON_RUNTIME.items()),
    Case("far end of the line closed", "serial", "co-processor", close_far_end),
    Case("line takes no more bytes", "serial", "co-processor", block_writes, unblock_writes),
    *(Case(fault, "serial", "co-processor", make) for fault, make in _ON_GUARD.items()),
    *(Case(fault, "pins", "guard", make) for fault, make in _ON_RUNTIME.items()),
    *(Case(fault, "pins", "supervisor", make) for fault, make in _ON_GUARD.items()),
)


def measure(case: Case, moments: int, seed: int) -> list[float]:
    """Return how long after the fault the wheels were at zero for good (ms), for each moment."""
    chance = random.Random(f"{seed} {case.name}")
    with case.rig() as rig, judge_on_time():
        return [moment(case, rig, chance.uniform(0.0, 0.3)) for _ in range(moments)]


def moment(case: Case, rig: Rig, after_s: float) -> float:
    """Let the wheels turn for a while, make the fault, and return when they were at zero (ms)."""
    is_disk = case.make is fill_disk
    rig.start_runtime(is_disk)
    try:
        wait_for(rig.is_moving, lambda: f"the wheels never turned: {state_of(rig.guard.folder)}")
        time.sleep(after_s)
        assert rig.is_moving(), f"the wheels stopped before the fault: {state_of(rig.guard.folder)}"
        return zero_after_ms(case, rig)
    finally:
        rig.end_runtime()
        if is_disk:
            open_record(rig.record)
        wait_for(lambda: not rig.is_moving(), lambda: "the wheels never came to rest")


def zero_after_ms(case: Case, rig: Rig) -> float:
    """Make the fault, watch the wheels, and return how long it took until they were at zero for good (ms)."""
    from_ns = time.monotonic_ns()
    case.make(rig)
    try:
        time.sleep(WATCHED_S)
        return rig.zero_after_ms(from_ns)
    finally:
        case.undo(rig)


def open_record(path: Path) -> None:
    """See that a record opens after what happened to it."""
    from rover.record.reader import read

    read(path)


def row(case: Case, took_ms: list[float]) -> str:
    """Return a row of the table."""
    failures = sum(took > ALLOWED_MS for took in took_ms)
    middle, most = statistics.median(took_ms), max(took_ms)
    return f"{case.fault:<38} {case.path:<7} {case.way:<13} {len(took_ms):>7} {failures:>8} {middle:>9.0f} {most:>7.0f}"


def main() -> None:
    """Print the table; exit status 1 if a moment failed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--moments", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", default="", help="only the faults with this text in 'FAULT, PATH'")
    chosen = parser.parse_args()
    print(f"{'fault':<38} {'path':<7} {'zero by':<13} {'moments':>7} {'failures':>8} {'median ms':>9} {'most ms':>7}")
    worst = 0.0
    for case in CASES:
        if chosen.only in case.name:
            took_ms = measure(case, chosen.moments, chosen.seed)
            worst = max(worst, *took_ms)
            print(row(case, took_ms), flush=True)
    sys.exit(worst > ALLOWED_MS)


if __name__ == "__main__":
    main()
