"""The robot that a person is beside, loaded as the options say."""

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from rover.commands.output import say_loading
from rover.files.load import Loaded, load
from rover.files.robot import Robot
from rover.session.assembly import user_drivers
from rover.session.hardware import with_ports


def robot_at_hand(robot: Path, ports: Mapping[str, str]) -> Loaded[Robot]:
    """Return a robot file with other ports for some of its links, and say which drivers of the user's it imports.

    Raises:
        UserError: the file has mistakes, or no such link.
    """
    loaded = load(robot, "robot")
    loaded = replace(loaded, model=with_ports(loaded.model, ports))
    say_loading(user_drivers(loaded.model))
    return loaded
