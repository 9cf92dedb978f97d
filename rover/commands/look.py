"""`rover look`."""

from collections.abc import Iterable
from pathlib import Path
from typing import Any

import click

from rover.calibrate import looking
from rover.commands import options
from rover.commands.given_files import say_loading
from rover.commands.output import writing
from rover.devices.with_driver import is_dotted
from rover.errors import UserError
from rover.files.robot import Robot
from rover.session.hard_end import HardEnd


@click.command()
@click.argument("source", required=False, type=options.SourceType())
@click.option("--robot", type=options.A_PATH, help="Robot file, for its camera and colours.")
@click.option("--errand", type=options.A_PATH, help="Errand file, for its kinds and its robot.")
@options.DRIVERS
@click.option(
    "--into",
    type=options.PathType(file_okay=False),
    default="looks",
    show_default=True,
    help="Folder to fill.",
)
def command(source: Path | str | None, robot: Path | None, errand: Path | None, into: Path) -> int:
    """Say what the vision sees in a SOURCE, and draw it.

    SOURCE is a picture, a folder of them, a camera's device or address, or a recorded video; without it the robot's own
    camera looks, whatever its driver.
    """
    loaded, kinds = looking.files_for(robot, errand)
    with looking.pictures_needed(), writing():
        for name, image in _pictures(source, loaded):
            seen = looking.look(name, image, loaded, kinds)
            drawn = looking.keep(seen, into)
            click.echo("\n".join((*seen.lines, *([f"  drawn: {drawn}"] if drawn else []))))
    return 0


def _pictures(source: Path | str | None, robot: Robot | None) -> Iterable[tuple[str, Any]]:
    if source is not None:
        return looking.pictures_at(source, looking.camera_of(robot))
    if robot is None:
        raise UserError("name a SOURCE, or by --robot or --errand the robot whose own camera is to look")
    click.get_current_context().with_resource(HardEnd())
    say_loading(driver for driver in (looking.camera_of(robot).driver,) if is_dotted(driver))
    return [("camera", looking.live_frame(robot))]
