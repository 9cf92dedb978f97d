"""A gripper that keeps its commands and plays a script."""

from collections.abc import Mapping
from typing import Any

from rover.devices.fakes import CommandLog, Scripted
from rover.devices.gripper.values import JawsValue


class Gripper(Scripted, CommandLog):
    """Keeps the commands of the jaws, and plays entries [time, opening, holding]."""

    VALUE = JawsValue

    def __init__(self, options: Mapping[str, Any], context: Any = None) -> None:
        CommandLog.__init__(self, options)
        Scripted.__init__(self, options)
