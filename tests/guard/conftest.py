import contextlib
import importlib
import itertools
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from types import ModuleType

import pytest

from rover.devices.readings import DriveCommand
from rover.guard.client import GuardClient
from rover.guard.launch import start_guard
from rover.guard.settings import GuardSettings
from rover.link.emulated_firmware import Firmware
from rover.link.emulated_hardware import WheelsFree
from rover.link.emulator import Emulator
from rover.stopping import Phase

from .far_end import Clock, FarEnd, on_line

TOOLS = Path(__file__).parents[2] / "tools" / "benchmarks"
LASTS_NS = 250_000_000


def wait_for(condition: Callable[[], object]) -> object:
    """Wait for a condition to come true; real processes are at work, so only a generous limit ends the wait."""
    for _ in range(10_000):
        if answer := condition():
            return answer
        time.sleep(0.002)
    raise AssertionError("the condition never came true")


@pytest.fixture
def eventually() -> Callable[[Callable[[], object]], object]:
    return wait_for


def _from_tools(name: str) -> ModuleType:
    sys.path.insert(0, str(TOOLS))
    try:
        return importlib.import_module(name)
    finally:
        sys.path.remove(str(TOOLS))


@pytest.fixture(scope="session")
def table() -> ModuleType:
    """The table of what is killed, halted and cut off."""
    return _from_tools("kill_table")


@pytest.fixture(scope="session")
def rigs() -> ModuleType:
    """What that happens to, and its judges."""
    return _from_tools("kill_rigs")


@pytest.fixture
def folder() -> Iterator[Path]:
    """A folder with a short name: the path of a socket has room for 107 characters."""
    with tempfile.TemporaryDirectory(prefix="g-") as name:
        yield Path(name)


class Stand(WheelsFree):
    """A machine on a stand that notes what its servo was told, and when."""

    def __init__(self) -> None:
        super().__init__()
        self.pulses: list[tuple[float | None, int]] = []

    def servo(self, pulse_s: float | None, now_ns: int) -> None:
        self.pulses.append((pulse_s, now_ns))
        super().servo(pulse_s, now_ns)


class Bay:
    """An emulated co-processor, and a guard that holds it."""

    def __init__(self, folder: Path, closing: contextlib.ExitStack, firmware: Firmware) -> None:
        self.folder, self.channel = folder, folder / "guard"
        self._closing = closing
        self._sequences = itertools.count(1)
        self.machine = Stand()
        self.emulator = Emulator(self.machine, folder / "main", firmware=firmware)
        closing.callback(self.emulator.close)

    def start(self, **settings) -> GuardClient:
        settings = GuardSettings(drive=on_line(self.folder / "main"), **settings)
        self.process = start_guard(settings, self.channel)
        self._closing.callback(self.process.close)
        return self.client()

    def client(self) -> GuardClient:
        client = GuardClient(self.channel)
        self._closing.callback(client.close)
        return client

    def command(self, client: GuardClient, left: float = 0.5, pulse_us: int | None = None) -> None:
        expires_ns = time.monotonic_ns() + LASTS_NS
        client.command(DriveCommand(left, 0.4, next(self._sequences), expires_ns), pulse_us)

    def command_at_leisure(self, client: GuardClient) -> None:
        """Command no faster than a runtime does, or the line would be full."""
        self.command(client)
        time.sleep(0.018)

    def get_going(self, client: GuardClient) -> None:
        """Enable motion as soon as the co-processor answers, and command until the wheels turn."""
        wait_for(lambda: client.poll() and client.state and client.state.output_open)
        client.enable()
        wait_for(lambda: self.command(client) or (client.poll() and self.duty() != (0.0, 0.0)))

    def duty(self) -> tuple[float, float]:
        return self.emulator.applied[-1][1:]

    def phase(self, client: GuardClient) -> Phase | None:
        client.poll()
        return client.state and client.state.phase


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def far(folder):
    return FarEnd(folder / "line")


@pytest.fixture
def firmware() -> Firmware:
    """A board whose own deadline is off, so that what the guard does can be seen."""
    return Firmware(deadline_ms=None)


@pytest.fixture
def bay(folder: Path, firmware: Firmware) -> Iterator[Bay]:
    with contextlib.ExitStack() as closing:
        yield Bay(folder, closing, firmware)
