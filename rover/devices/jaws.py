"""The measures of the jaws, as body, bench and eyes take them."""

from typing import NamedTuple

from rover.devices.gripper.keys import GripperKeys
from rover.devices.keys import SIMULATED

USUAL_GAP = 0.06
"""Jaws of which nobody says how far they open take the widest object with so much to spare (m)."""
FINGER = 0.015
"""How thick a finger is (m; common practice, no source)."""
ROOM_BESIDE = 0.03
"""So much (m) farther apart than the open jaws need are what they set down."""


class JawsSize(NamedTuple):
    """Measures (m) of jaws whose middle is the gripper's reach ahead of the robot's.

    Attributes:
        half_open: from the middle to either finger's face, when they are open.
        half_depth: what stands no farther from the middle than this, along the fingers, they close on.
        tips: the fingers end so far ahead of the middle.
    """

    half_open: float
    half_depth: float
    tips: float

    @property
    def half_width(self) -> float:
        """Half the width (m) of the open jaws from outside."""
        return self.half_open + FINGER

    def spare(self, width: float) -> float:
        """Return how far to either side of their middle something so wide (m) may stand between the open jaws."""
        return max(0.0, self.half_open - 0.5 * width)

    def room(self, width: float) -> float:
        """Return what is due (m) from one thing so wide to the next, for the fingers to open between them."""
        return 2.0 * self.spare(width) + 4.0 * FINGER + ROOM_BESIDE


def jaws_size(gripper: GripperKeys | None, widest: float) -> JawsSize:
    """Return the measures of a gripper that is to hold things up to so wide (m); of usual jaws where there is none."""
    gripper = gripper or GripperKeys.model_validate({"driver": SIMULATED})
    opens_to = widest + USUAL_GAP if gripper.opens_to is None else gripper.opens_to
    return JawsSize(0.5 * opens_to, 0.5 * gripper.depth, gripper.tips)
