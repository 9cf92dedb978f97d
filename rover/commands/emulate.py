"""`rover emulate ROBOT`: the co-processor of a robot file, byte for byte, on a pseudo-terminal of its own."""

import signal
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from pathlib import Path

import click

from rover.commands import options
from rover.files import load
from rover.files.problems import FileProblems, Problem
from rover.files.robot import Robot
from rover.link.emulated_hardware import WheelsFree
from rover.link.emulator import Emulator


@click.command()
@click.argument("robot", type=options.A_PATH)
def command(robot: Path) -> int:
    """Emulate the co-processor of a ROBOT file on a pseudo-terminal, wheels free in the air, until interrupted."""
    with emulated(robot) as ports:
        for link, port in ports.items():
            click.echo(f"link '{link}': {port}")
        click.echo("emulating; Ctrl-C ends it")
        signal.pause()
    return 0


@contextmanager
def emulated(path: Path) -> Iterator[Mapping[str, Path]]:
    """Run an emulator for each link of a robot file; yields the port's path by the link's name.

    Raises:
        FileProblems: the robot file cannot be used or has no links.
    """
    robot: Robot = load.load(path, "robot").model
    if not robot.links:
        raise FileProblems(
            [Problem(load.show(path), 1, 1, "", "has no 'links:', so there is no co-processor to emulate")]
        )
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="rover-")))
        ports = {}
        for name, settings in robot.links.items():
            ports[name] = folder / name
            stack.callback(Emulator(WheelsFree(), ports[name], baud=settings.baud).close)
        yield ports
