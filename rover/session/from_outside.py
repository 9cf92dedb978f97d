"""Stopping and resetting robots from outside their runs, through their guards, which are found wherever they are."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import NamedTuple

from rover.errors import UserError
from rover.files import yaml_source
from rover.files.load import kind_of, load, loaded, show
from rover.files.robot import Robot
from rover.guard.client import GuardError, reset_now, state_of, stop_now
from rover.guard.find import FoundGuard, guard_at, guards, holds_the_same
from rover.guard.launch import settings_of

RESUME_IS_DUE = "nothing moves before a resume: g at the run's terminal, or the robot's start button"


class Outcome(NamedTuple):
    """What came of it at one guard: its folder, a line for the person, and whether that is why not."""

    folder: Path
    line: str
    is_error: bool


def stop_robots(robot: Path | None, folder: Path | None) -> list[Outcome]:
    """Stop every robot that is meant; it latches.

    Args:
        robot: file of the one that is meant; None: whichever.
        folder: the guard's, None: all of this user's, or if there are none, those of other users, which is refused.

    Raises:
        UserError: there is none, or the robot file cannot be used.
    """
    return _each(robot, folder, _stopped, "stop")


def stop_at(folder: Path, cause: str) -> str:
    """Stop the robot of the guard in a folder, and return a line on it once the guard says that it stands stopped.

    Raises:
        GuardError: the guard does not answer.
    """
    return f"stopped: {stop_now(folder, cause).cause}"


def reset_robots(robot: Path | None, folder: Path | None) -> list[Outcome]:
    """Reset every robot that is meant, as `stop_robots` takes it; that never starts motion."""
    return _each(robot, folder, _reset, "reset")


def _stopped(folder: Path) -> str:
    try:
        state = state_of(folder)
        before = state.phase.name.lower().replace("_", " ") + (f" ({state.cause})" if state.cause else "")
    except GuardError:
        before = "silent"  # the stop is what matters; if that one is not answered either, it is said
    stop_now(folder, "stopped by rover stop")
    return f"stopped; was: {before}"


def _reset(folder: Path) -> str:
    reset_now(folder)
    return f"reset; {RESUME_IS_DUE}"


def _each(robot: Path | None, folder: Path | None, act: Callable[[Path], str], name: str) -> list[Outcome]:
    found = [one for one in (guard_at(folder),) if one is not None] if folder is not None else guards()
    meant = found if robot is None else _of(robot, found)
    meant = [one for one in meant if one.is_ours] or meant
    with ThreadPoolExecutor(max(1, len(meant))) as at_once:  # one that does not answer holds up no other's stop
        told = list(at_once.map(lambda one: _outcome(one, act, name), meant))
    outcomes = [outcome for outcome in told if outcome is not None]
    if not outcomes:
        raise UserError(_why_none(robot, folder, len(found)))
    return outcomes


def _outcome(found: FoundGuard, act: Callable[[Path], str], name: str) -> Outcome | None:
    """Act on a guard, and return what came of it; None: it has ended meanwhile, and commands nothing."""
    if not found.is_ours:
        return Outcome(
            found.folder, f"the robot belongs to another user; type: {found.how_to_reach} rover {name}", True
        )
    try:
        return Outcome(found.folder, act(found.folder), False)
    except GuardError as error:
        return Outcome(found.folder, str(error), True) if guard_at(found.folder) is not None else None


def _of(file: Path, found: list[FoundGuard]) -> list[FoundGuard]:
    """Return the guards that hold the motors of a robot file or an errand's; one of unreadable settings may do so."""
    source = yaml_source.read(file, show(file))
    if kind_of(source) == "errand":
        file = file.parent / loaded(source, "errand").model.files.robot
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
    holds_none = f"no motor guard holds the motors that {robot} names"
    if not others:
        return f"{holds_none}: no robot is at work{where}"
    return f"{holds_none}: {others} at work{where}, which other files or --port name; leave ROBOT out to reach all"
