"""Which parts with drivers of one's own have been seen to come to rest: a small file beside the robot file.

A part is to be tried again when its block in the robot file has changed since, or the serial line that it is on, or
when the computer is another one: the file may have been copied to another robot.
"""

import hashlib
import json
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any

from rover.errors import UserError
from rover.files.load import Loaded
from rover.files.robot import Robot
from rover.readiness.finding import Finding, judged

NAME = "own deadlines"
HOW = "rover bring-up ROBOT --only own_deadlines, wheels off the ground"
MACHINE_ID = Path("/etc/machine-id")


class TriedError(UserError):
    """A part has not been tried, or what has been cannot be read or noted; the message says what to do."""


def path_beside(robot_file: Path) -> Path:
    """Return the file that notes what has been tried."""
    return robot_file.with_suffix(".tried.json")


def moving_parts(robot: Robot) -> dict[str, Any]:
    """Return the keys, by name, of what moves and has a driver of one's own."""
    devices = {"drive": robot.devices.drive, "gripper": robot.devices.gripper}
    parts: dict[str, Any] = {name: keys for name, keys in devices.items() if keys is not None and keys.is_own}
    return parts | {name: keys for name, keys in robot.outputs.items() if keys.moves}


def untried(robot_file: Path, robot: Robot) -> list[str]:
    """Return the parts that have not been tried as they are now.

    Raises:
        TriedError: the file beside the robot file cannot be read.
    """
    parts = moving_parts(robot)
    noted = _read(path_beside(robot_file)) if parts else {}
    return [name for name, keys in parts.items() if noted.get(name, {}).get("block") != _digest(robot, keys)]


def see_that_all_are_tried(loaded: Loaded[Robot]) -> None:
    """Raise `TriedError` if a robot must not be moved yet."""
    if names := untried(loaded.source.path, loaded.model):
        raise TriedError(f"{', '.join(names)}: not yet seen to come to rest without commands, so nothing moves; {HOW}")


def finding(names: list[str]) -> Finding:
    """Return the finding on parts that have not been tried."""
    measured = f"not tried: {', '.join(names)}" if names else "tried"
    return judged(NAME, not names, measured, "each has been seen to come to rest without commands", HOW)


def note_tried(robot_file: Path, robot: Robot, came_to_rest: Mapping[str, bool]) -> None:
    """Note which parts have come to rest by themselves; one that has not this time is no longer believed.

    Raises:
        TriedError: it cannot be noted.
    """
    path, parts = path_beside(robot_file), moving_parts(robot)
    noted = {name: one for name, one in _read(path).items() if came_to_rest.get(name, True)} | {
        name: {"block": _digest(robot, parts[name]), "on": date.today().isoformat()}
        for name, rests in came_to_rest.items()
        if rests
    }
    try:
        path.write_text(json.dumps(noted, indent=2, sort_keys=True) + "\n", "utf-8")
    except OSError as error:
        raise TriedError(f"{path}: cannot note what has been tried: {error.strerror}") from error


def _read(path: Path) -> Mapping[str, Any]:
    try:
        noted = json.loads(path.read_text("utf-8"))
    except FileNotFoundError:
        return {}
    except (OSError, ValueError) as error:
        raise TriedError(f"{path}: cannot be read ({error}); remove it, and try the parts again: {HOW}") from error
    if not isinstance(noted, dict) or not all(isinstance(one, dict) for one in noted.values()):
        raise TriedError(f"{path}: notes nothing that could be understood; remove it, and try the parts again: {HOW}")
    return noted


def _digest(robot: Robot, keys: Any) -> str:
    """Return a digest of a part's block, the line that it is on (``--port`` may name another) and the computer."""
    line = robot.links.get(getattr(keys, "link", None) or "")
    return hashlib.sha256(repr((sorted(keys.options.items()), line, _computer())).encode()).hexdigest()


def _computer() -> str:
    """Return what tells this computer from others, '' if nothing does."""
    try:
        return MACHINE_ID.read_text("utf-8")
    except OSError:
        return ""
