"""How soon the wheels are at zero when something dies, hangs or blocks: each fault at N random moments.

``python tools/benchmarks/guard_table.py [--moments 200] [--seed 1] [--only TEXT]`` prints the table; it takes about
a second a moment. A runtime process commands the wheels at 50 Hz through a real guard and supervisor. On the serial
path a pseudo-terminal leads to the co-processor's emulator, whose log of applied duties is the judge; its own deadline
is off where the guard is what is tried. On the pin path the judge looks at stand-ins for the kernel's PWM files each
millisecond. A moment fails unless both wheels are at zero within 300 ms and stay there.
"""

import argparse
import collections
import contextlib
import itertools
import os
import random
import resource
import signal
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, NamedTuple

from rover.devices.readings import DriveCommand
from rover.events import Note
from rover.guard import settings as files
from rover.guard.channel import state_of
from rover.guard.client import GuardClient
from rover.guard.launch import GuardProcess, start_guard
from rover.guard.protocol import Phase
from rover.guard.settings import GuardSettings
from rover.link.emulated_firmware import Firmware
from rover.link.emulated_hardware import WheelsFree
from rover.link.emulator import Emulator

ALLOWED_MS = 300.0
STEP_S = 0.02
COMMAND_LASTS_NS = 250_000_000
WATCHED_S = 0.6
_MS = 1e6
_LIMIT_S = 60.0
_HEADER = {"name": "guard table"}


# The process that plays the runtime.


def play_runtime(folder: Path, record_path: Path) -> None:
    """Enable motion once, then command the wheels at 50 Hz until something happens to this process."""
    signal.signal(signal.SIGUSR1, loop_for_ever)
    judge = os.getppid()
    client = GuardClient(folder)
    record = begin_record(record_path) if record_path.name else None
    get_going(client)
    for sequence in itertools.count(1):
        now_ns = time.monotonic_ns()
        client.command(DriveCommand(0.5, 0.4, sequence, now_ns + COMMAND_LASTS_NS))
        client.poll()
        if record is not None:
            record.event(now_ns, Note("step", str(sequence)))
            if record.trouble:
                client.stop(record.trouble)
                return
        if os.getppid() != judge:
            return
        time.sleep(STEP_S)


def loop_for_ever(*_: object) -> None:
    """Run a loop in C that never ends and never lets another thread of Python run."""
    collections.deque(itertools.repeat(0), maxlen=0)


def begin_record(path: Path) -> Any:
    """Return a real run record; loaded here, since only one of the faults needs it."""
    from rover.record.writer import RunRecord

    return RunRecord.create(path, _HEADER)


def get_going(client: GuardClient) -> None:
    """Reset, enable and resume until the guard permits motion to this client."""
    while (
        client.state is None or client.state.phase is not Phase.RUNNING or client.state.permit_holder != client.session
    ):
        client.reset()
        client.enable()
        client.resume()
        time.sleep(0.05)
        client.poll()


# What the wheels are told, and when.


class Change(NamedTuple):
    """The duty of both wheels from a time on."""

    now_ns: int
    left: float
    right: float


class PwmFiles:
    """Two PWM channels laid out as the kernel documents them, in plain files, watched each millisecond."""

    def __init__(self, root: Path) -> None:
        chip = root / "pwmchip0"
        for channel in (0, 1):
            (chip / f"pwm{channel}").mkdir(parents=True)
            for name, content in (("period", "0"), ("duty_cycle", "0"), ("polarity", "normal"), ("enable", "0")):
                (chip / f"pwm{channel}" / name).write_text(f"{content}\n")
        for name, content in (("npwm", "2\n"), ("export", ""), ("unexport", "")):
            (chip / name).write_text(content)
        self._duties = [os.open(chip / f"pwm{channel}" / "duty_cycle", os.O_RDONLY) for channel in (0, 1)]
        self.applied: list[Change] = [Change(time.monotonic_ns(), 0.0, 0.0)]
        self._closing = threading.Event()
        self._thread = threading.Thread(target=self._watch, daemon=True)
        self._thread.start()

    def _watch(self) -> None:
        while not self._closing.wait(0.001):
            left, right = (float(os.pread(duty, 32, 0).split(b"\n")[0] or b"0") for duty in self._duties)
            if (left, right) != self.applied[-1][1:]:
                self.applied.append(Change(time.monotonic_ns(), left, right))

    def close(self) -> None:
        """Stop watching."""
        self._closing.set()
        self._thread.join()
        for duty in self._duties:
            os.close(duty)


class Rig:
    """A guard with its supervisor, the wheels it drives, and a runtime that commands them."""

    def __init__(self, folder: Path, wheels: "Emulator | PwmFiles", guard: GuardProcess) -> None:
        self.folder, self.wheels, self.guard = folder, wheels, guard
        self.runtime: subprocess.Popen[bytes]
        self.record = Path()
        self._records = itertools.count(1)

    def start_runtime(self, is_recording: bool) -> None:
        """Start a runtime, which makes the wheels turn as soon as the guard lets it."""
        self.record = self.folder / f"record{next(self._records)}.db" if is_recording else Path()
        command = [sys.executable, __file__, "--play-runtime", str(self.folder / "guard"), str(self.record)]
        self.runtime = subprocess.Popen(command)

    def end_runtime(self) -> None:
        """End the runtime, whatever state it is in."""
        self.runtime.kill()
        self.runtime.wait()

    def guard_pid(self) -> int:
        """Return the number of the guard's process."""
        return int((self.folder / "guard" / files.LOCK).read_text("ascii").split()[1])

    def is_moving(self) -> bool:
        """Tell whether a wheel is told to turn."""
        return any(self.wheels.applied[-1][1:])

    def zero_after_ms(self, from_ns: int) -> float:
        """Return how long after a time the wheels came to zero for good (ms); infinite: they turn still."""
        last = self.wheels.applied[-1]
        return float("inf") if any(last[1:]) else max(0.0, (last.now_ns - from_ns) / _MS)


def wait_for(condition: Callable[[], object], otherwise: Callable[[], str]) -> None:
    """Wait until a condition is true, for 15 s at most."""
    for _ in range(int(_LIMIT_S / 0.002)):
        if condition():
            return
        time.sleep(0.002)
    raise AssertionError(otherwise())


@contextlib.contextmanager
def serial_rig(has_deadline: bool) -> Iterator[Rig]:
    """Put the emulator of a co-processor behind the guard."""
    with tempfile.TemporaryDirectory(prefix="guard-") as name:
        folder = Path(name)
        firmware = Firmware() if has_deadline else Firmware(deadline_ms=None)
        emulator = Emulator(WheelsFree(), folder / "main", firmware=firmware)
        settings = GuardSettings(drive={"port": str(folder / "main"), "baud": 115200})
        with contextlib.closing(emulator), contextlib.closing(start_guard(settings, folder / "guard")) as guard:
            yield Rig(folder, emulator, guard)


@contextlib.contextmanager
def pin_rig() -> Iterator[Rig]:
    """Put stand-ins for the kernel's PWM files and pins behind the guard."""
    with tempfile.TemporaryDirectory(prefix="guard-") as name:
        folder = Path(name)
        (folder / "lines").mkdir()
        pwm = PwmFiles(folder / "pwm")
        drive = {
            "left": {"pwm": 0, "forward": 1, "backward": 2},
            "right": {"pwm": 1, "forward": 3, "backward": 4},
            "gpio": str(folder / "lines"),
            "pwm_files": str(folder / "pwm"),
        }
        settings = GuardSettings(drive=drive, channels=tuple((str(folder / "pwm"), 0, channel) for channel in (0, 1)))
        with contextlib.closing(pwm), contextlib.closing(start_guard(settings, folder / "guard")) as guard:
            yield Rig(folder, pwm, guard)


# The faults.


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
    if sys.argv[1:2] == ["--play-runtime"]:
        play_runtime(Path(sys.argv[2]), Path(sys.argv[3]))
    else:
        main()
