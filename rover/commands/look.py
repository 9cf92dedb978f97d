"""`rover look`."""

from pathlib import Path

import click

from rover.calibrate import looking
from rover.commands import options
from rover.commands.output import writing


@click.command()
@click.argument("source", type=options.A_PATH)
@click.option("--robot", type=options.A_PATH, help="Robot file, for its camera and colours.")
@click.option("--errand", type=options.A_PATH, help="Errand file, for its kinds and its robot.")
@click.option(
    "--into",
    type=options.PathType(file_okay=False),
    default="looks",
    show_default=True,
    help="Folder to fill.",
)
def command(source: Path, robot: Path | None, errand: Path | None, into: Path) -> int:
    """Say what the vision sees in a SOURCE (a picture, a folder of them, or a camera's device), and draw it."""
    loaded, kinds = looking.files_for(robot, errand)
    with looking.pictures_needed(), writing():
        for name, image in looking.pictures_at(source, looking.camera_of(loaded)):
            seen = looking.look(name, image, loaded, kinds)
            drawn = looking.keep(seen, into)
            click.echo("\n".join((*seen.lines, *([f"  drawn: {drawn}"] if drawn else []))))
    return 0
