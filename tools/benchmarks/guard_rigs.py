"""What the faults of `guard_table` happen to: a guard with its supervisor, wheels that tell all, a runtime."""

import contextlib
import itertools
import os
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import NamedTuple

from rover.devices.drive.keys import DriveKeys
from rover.guard.launch import GuardProcess, start_guard
from rover.guard.settings import LOCK_NAME, GuardSettings
from rover.link.emulated_firmware import Firmware
from rover.link.emulated_hardware import WheelsFree
from rover.link.emulator import Emulator

RUNTIME = Path(__file__).with_name("guard_runtime.py")
_MS = 1e6
_LIMIT_S = 60.0


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
        self.runtime = subprocess.Popen([sys.executable, RUNTIME, self.folder / "guard", self.record])

    def end_runtime(self) -> None:
        """End the runtime, whatever state it is in."""
        self.runtime.kill()
        self.runtime.wait()

    def guard_pid(self) -> int:
        """Return the number of the guard's process."""
        return int((self.folder / "guard" / LOCK_NAME).read_text("ascii").split()[1])

    def is_moving(self) -> bool:
        """Tell whether a wheel is told to turn."""
        return any(self.wheels.applied[-1][1:])

    def zero_after_ms(self, from_ns: int) -> float:
        """Return how long after a time the wheels came to zero for good (ms); infinite: they turn still."""
        last = self.wheels.applied[-1]
        return float("inf") if any(last[1:]) else max(0.0, (last.now_ns - from_ns) / _MS)


def wait_for(condition: Callable[[], object], otherwise: Callable[[], str]) -> None:
    """Wait until a condition is true, for a minute at most."""
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
        wheels = {"left": {"pwm": 0, "forward": 1, "backward": 2}, "right": {"pwm": 1, "forward": 3, "backward": 4}}
        files = {"gpio": str(folder / "lines"), "pwm_files": str(folder / "pwm")}
        drive = DriveKeys.model_validate({"driver": "h_bridge", **wheels, **files}).options
        settings = GuardSettings(drive=drive, channels=tuple((str(folder / "pwm"), 0, channel) for channel in (0, 1)))
        with contextlib.closing(pwm), contextlib.closing(start_guard(settings, folder / "guard")) as guard:
            yield Rig(folder, pwm, guard)
