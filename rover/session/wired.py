"""The wired rehearsal: an emulated co-processor between the bench and what the robot uses on a serial line."""

import tempfile
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from rover.bench.bench import Bench
from rover.bench.wired_hardware import BenchHardware
from rover.devices.drive.keys import CoProcessorDriveKeys
from rover.devices.gripper.keys import CoProcessorGripperKeys
from rover.devices.protocols import DriverContext
from rover.errors import UserError
from rover.files.robot import Robot
from rover.guard.drivers import drivers_by_guard
from rover.guard.in_process import GuardThread
from rover.guard.launch import settings_of
from rover.link.emulator import Emulator
from rover.link.link import Link, open_link
from rover.session.clocks import PacedClock


@dataclass(frozen=True)
class Wiring:
    """Emulators and links of a wired rehearsal, by the link's name in the robot file, and the clock they share.

    ``guard`` is None where neither wheels nor jaws are on a link.
    """

    clock: PacedClock
    emulators: Mapping[str, Emulator]
    links: Mapping[str, Link]
    guard: GuardThread | None = None

    def next_step(self, last_ns: int, period_ns: int) -> int:
        """Wait for the next step's time and return it; steps that are late are skipped, never caught up."""
        due_ns = last_ns + period_ns
        self.clock.sleep_until(due_ns)
        return max(due_ns, self.clock.now_ns())

    def drivers(self, context: DriverContext) -> dict[str, Any]:
        """Return, by family, the drivers of what the guard holds on the robot."""
        return {} if self.guard is None else drivers_by_guard(context, self.guard.settings, self.guard)


@contextmanager
def wire(robot: Robot, bench: Bench, pace: float) -> Iterator[Wiring]:
    """Put an emulated co-processor on a pseudo-terminal for each of the robot's links, and open the links.

    Raises:
        UserError: the robot file has no link to wire, or puts on it what the motor guard cannot hold together.
    """
    if not robot.links:
        raise UserError("--wired needs a robot file with 'links:' and devices on them; this one has none")
    clock = PacedClock(pace)
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="rover-")))
        robot = _on_ports_in(folder, robot)
        emulators: dict[str, Emulator] = {}
        for name, line in robot.links.items():
            hardware, port = BenchHardware(bench, _on_line(robot, name)), Path(line.port)
            emulators[name] = Emulator(hardware, port, clock.now_ns, baud=line.baud, seed=bench.seed)
            stack.callback(emulators[name].close)
        guard = _guard_of(robot, clock, pace)
        if guard is not None:
            stack.callback(guard.close)
        links: dict[str, Link] = {}
        for name, line in robot.links.items():
            if guard is not None and name == robot.devices.drive.on_link:
                links[name] = Link(guard, line.baud)
            else:
                links[name] = open_link(line, clock.now_ns)
            stack.callback(links[name].close)
        yield Wiring(clock, emulators, links, guard)


def _on_line(robot: Robot, link: str) -> dict[str, str]:
    """Return by family what the robot calls the devices on a link."""
    devices = robot.devices
    return {devices.family_of(name): name for name, keys in devices.fitted().items() if keys.on_link == link}


def _on_ports_in(folder: Path, robot: Robot) -> Robot:
    """Return the robot with its links on the emulators' ports."""
    links = {name: line.model_copy(update={"port": str(folder / name)}) for name, line in robot.links.items()}
    return robot.model_copy(update={"links": links})


def _guard_of(robot: Robot, clock: PacedClock, pace: float) -> GuardThread | None:
    on_line = isinstance(robot.devices.drive, CoProcessorDriveKeys)
    if not on_line and not isinstance(robot.devices.gripper, CoProcessorGripperKeys):
        return None
    settings = settings_of(robot)
    if settings.servo_on_pins is not None:
        settings = replace(settings, servo=None)  # only what is on the line is wired; the bench moves those jaws itself
    return GuardThread(settings, clock.now_ns, pace)
