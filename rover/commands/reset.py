"""`rover reset`."""

from pathlib import Path

import click

from rover.commands import options
from rover.commands.guards import each
from rover.guard.client import reset_now
from rover.guard.find import FoundGuard

RESUME_IS_DUE = "nothing moves before a resume: g at the run's terminal, or the robot's start button"


@click.command()
@options.MAYBE_A_ROBOT
@options.GUARD
def command(robot: Path | None, guard: Path | None) -> int:
    """Reset a latched stop, from any terminal of this machine: of each robot of this user, or of one ROBOT.

    It never starts motion.
    """
    return each(robot, guard, _reset, "reset")


def _reset(found: FoundGuard) -> str:
    reset_now(found.folder)
    return f"reset; {RESUME_IS_DUE}"
