"""`rover reset`."""

from pathlib import Path

import click

from rover.commands import options
from rover.commands.output import show_outcomes
from rover.session.from_outside import reset_robots


@click.command()
@options.MAYBE_A_ROBOT
@options.GUARD
def command(robot: Path | None, guard: Path | None) -> int:
    """Reset a latched stop, from any terminal of this machine: of each robot of this user, or of one ROBOT.

    It never starts motion.
    """
    return show_outcomes(reset_robots(robot, guard))
