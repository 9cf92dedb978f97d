"""`rover stop`."""

from pathlib import Path

import click

from rover.commands import options
from rover.commands.guards import each
from rover.guard.client import GuardError, state_of, stop_now
from rover.guard.find import FoundGuard


@click.command()
@options.MAYBE_A_ROBOT
@options.GUARD
def command(robot: Path | None, guard: Path | None) -> int:
    """Stop the robot, from any terminal of this machine, also without a run: each one of this user, or one ROBOT.

    It latches: 'rover reset' and then a resume at the run end it.
    """
    return each(robot, guard, _stopped, "stop")


def _stopped(found: FoundGuard) -> str:
    try:
        state = state_of(found.folder)
        before = state.phase.name.lower().replace("_", " ") + (f" ({state.cause})" if state.cause else "")
    except GuardError:
        before = "silent"  # the stop is what matters; if that one is not answered either, it is said
    stop_now(found.folder, "stopped by rover stop")
    return f"stopped; was: {before}"
