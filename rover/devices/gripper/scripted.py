"""The fake gripper: keeps what it is told, and plays what a test or a robot file wrote."""

from collections.abc import Mapping
from typing import Any

from rover.devices.gripper.values import JawsValue
from rover.devices.script import CommandLog, Played


class Gripper(Played, CommandLog):
    """Keeps the commands of the jaws, and plays entries [time, opening, holding]."""

    VALUE = JawsValue

    def __init__(self, options: Mapping[str, Any], context: Any = None) -> None:
        CommandLog.__init__(self, options)
        Played.__init__(self, options)
