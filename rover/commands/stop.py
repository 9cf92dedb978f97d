"""`rover stop`."""

from pathlib import Path

import click

from rover.commands import options
from rover.commands.output import show_outcomes
from rover.session.from_outside import stop_robots


@click.command()
@options.MAYBE_A_ROBOT
@options.GUARD
def command(robot: Path | None, guard: Path | None) -> int:
    """Stop the robot, from any terminal of this machine, also without a run: each one of this user, or one ROBOT.

    It latches: 'rover reset' and then a resume at the run end it.
    """
    return show_outcomes(stop_robots(robot, guard))
