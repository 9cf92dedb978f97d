"""What `rover stop` and `rover reset` have in common: which guards are meant, and a line for each."""

from collections.abc import Callable
from pathlib import Path

import click

from rover.commands.main import FAILED
from rover.errors import UserError
from rover.files.load import load
from rover.files.robot import Robot
from rover.guard.client import GuardError
from rover.guard.find import FoundGuard, guard_at, guards, holds_the_same
from rover.guard.launch import settings_of


def each(robot: Path | None, folder: Path | None, act: Callable[[FoundGuard], str], name: str) -> int:
    """Act on every guard that is meant, say a line for each, and return the exit code.

    Args:
        robot: file of the one that is meant; None: whichever.
        folder: the guard's, None: all of this user's, or if there are none, of other users'.
        act: does it, and returns the line; raises GuardError if it cannot.
        name: of the command, for another user to type.

    Raises:
        UserError: there is none.
    """
    found = [one for one in (guard_at(folder),) if one is not None] if folder is not None else guards()
    meant = found if robot is None else _of(robot, found)
    meant = [one for one in meant if one.is_ours] or meant
    if not meant:
        raise UserError(_why_none(robot, folder, len(found)))
    has_failed = False
    for one in meant:
        try:
            if not one.is_ours:
                raise GuardError(f"the robot belongs to another user; type: {one.how_to_reach} rover {name}")
            line, is_error = act(one), False
        except GuardError as error:
            line, is_error = str(error), True
        has_failed = has_failed or is_error
        click.echo(f"{one.folder}: {line}" if len(meant) > 1 else line, err=is_error)
    return FAILED if has_failed else 0


def _of(file: Path, found: list[FoundGuard]) -> list[FoundGuard]:
    """Return the guards that hold the motors of a robot file; those of other users cannot be told apart."""
    robot: Robot = load(file, "robot").model
    try:
        wanted = settings_of(robot)
    except ValueError as error:
        raise UserError(f"{file}: {error}") from error
    held = ((one, one.settings) for one in found)
    return [one for one, settings in held if settings is None or holds_the_same(settings, wanted)]


def _why_none(robot: Path | None, folder: Path | None, others: int) -> str:
    where = f" in {folder}" if folder is not None else " on this machine"
    if robot is None:
        return f"no robot is at work{where}: there is no motor guard"
    also = f", but {others} of other robots; leave ROBOT out for all" if others else ""
    return f"the robot of {robot} is not at work{where}: no motor guard holds its motors{also}"
