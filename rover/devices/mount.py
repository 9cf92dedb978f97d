"""Where on the robot a device is that looks somewhere."""

from typing import NamedTuple

from pydantic import model_validator

from rover.files.types import Angle, KeyMistakeError, Length, Model
from rover.geometry import Pose
from rover.quantities import si


class Mount(NamedTuple):
    """Place on the robot, from its middle (m), and direction in which it looks (rad): 0 is ahead, positive left."""

    ahead: float = 0.0
    left: float = 0.0
    towards: float = 0.0

    def on(self, body: Pose) -> Pose:
        """Return where it is in the field, and where it looks, with the robot's middle at a pose."""
        return Pose(*body.beside(self.ahead, self.left), body.heading + self.towards)


class MountKeys(Model):
    """A `Mount`, as the robot file has it."""

    ahead: Length = si("0 cm")
    """From the robot's middle forward."""
    left: Length = si("0 cm")
    """From the middle line to the left; to the right it is negative."""
    towards: Angle = si("0 deg")
    """Where it looks: 0 is ahead, 90 deg to the left, 180 deg backwards."""


class OnMount(Model):
    """A device that looks somewhere: ``ahead`` for one that looks ahead from the middle line, else ``at``."""

    ahead: Length = si("0 cm")
    """From the robot's middle forward to it."""
    at: MountKeys | None = None
    """Instead of `ahead`: where it is and where it looks, see below."""

    @model_validator(mode="after")
    def _is_in_one_place(self) -> "OnMount":
        if self.at is not None and "ahead" in self.model_fields_set:
            raise KeyMistakeError("ahead", "'at:' says where it is; write this there")
        return self

    @property
    def mount(self) -> Mount:
        """Where it is, and where it looks."""
        at = self.at
        return Mount(self.ahead) if at is None else Mount(at.ahead, at.left, at.towards)
