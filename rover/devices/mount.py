"""Where on the robot a device is that looks somewhere."""

from typing import NamedTuple

from pydantic import model_validator

from rover.devices.keys import DeviceKeys
from rover.files.types import Angle, KeyMistakeError, Length, Model


class Mount(NamedTuple):
    """Place on the robot, from its middle (m), and direction in which it looks (rad): 0 is ahead, positive left."""

    ahead: float = 0.0
    left: float = 0.0
    towards: float = 0.0


class MountKeys(Model):
    """A `Mount`, as the robot file has it."""

    ahead: Length = 0.0
    left: Length = 0.0
    towards: Angle = 0.0


class MountedKeys(DeviceKeys):
    """What devices have that look somewhere: ``ahead`` for one that looks ahead from the middle line, else ``at``."""

    ahead: Length = 0.0
    at: MountKeys | None = None

    @model_validator(mode="after")
    def _is_in_one_place(self) -> "MountedKeys":
        if self.at is not None and "ahead" in self.model_fields_set:
            raise KeyMistakeError("ahead", "'at:' says where it is; write this there")
        return self

    @property
    def mount(self) -> Mount:
        """Where it is, and where it looks."""
        at = self.at
        return Mount(self.ahead) if at is None else Mount(at.ahead, at.left, at.towards)
