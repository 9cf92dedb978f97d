"""The wired rehearsal: an emulated co-processor between the bench and the real serial drivers."""

import tempfile
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path

from rover.bench.bench import Bench
from rover.bench.devices import BenchHardware
from rover.errors import UserError
from rover.files.robot import Robot
from rover.link.emulator import Emulator
from rover.link.link import Link, open_link
from rover.session.clocks import PacedClock


@dataclass(frozen=True)
class Wiring:
    """Emulators and links of a wired rehearsal, by the link's name in the robot file, and the clock they share."""

    clock: PacedClock
    emulators: Mapping[str, Emulator]
    links: Mapping[str, Link]

    def next_step(self, last_ns: int, period_ns: int) -> int:
        """Wait for the next step's time and return it; steps that are late are skipped, never caught up."""
        due_ns = last_ns + period_ns
        self.clock.sleep_until(due_ns)
        return max(due_ns, self.clock.now_ns())


@contextmanager
def wire(robot: Robot, bench: Bench, pace: float) -> Iterator[Wiring]:
    """Put an emulated co-processor on a pseudo-terminal for each of the robot's links, and open the links.

    Raises:
        UserError: the robot file has no link to wire.
    """
    if not robot.links:
        raise UserError("--wired needs a robot file with 'links:' and devices on them; this one has none")
    clock = PacedClock(pace)
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="rover-")))
        emulators: dict[str, Emulator] = {}
        links: dict[str, Link] = {}
        for name, settings in robot.links.items():
            path = folder / name
            emulators[name] = Emulator(BenchHardware(bench), path, clock.now_ns, baud=settings.baud, seed=bench.seed)
            stack.callback(emulators[name].close)
            links[name] = open_link(settings.model_copy(update={"port": str(path)}), clock.now_ns)
            stack.callback(links[name].close)
        yield Wiring(clock, emulators, links)
