"""What the robot sees: by its camera, and turning round on the spot."""

from collections.abc import Iterable

from rover.estimate.looked_at import LookRound
from rover.files.errand import Errand, Kind
from rover.files.grip import lid_in_picture
from rover.files.robot import Robot
from rover.motion.outline import outline_of
from rover.vision.targets import LOOKING_SHARE, FieldOfView

NEAREST_SIGHT = 0.12
"""Nearer than this (m) to the camera nothing is seen for sure."""
TURNING_ROOM = 0.05
"""Round the body that turns at a lookout there is so much room (m)."""


def field_of_view(robot: Robot, kinds: Iterable[Kind]) -> FieldOfView:
    """Return what the robot's camera sees of objects of all kinds; without a camera, nothing."""
    camera = robot.devices.camera
    if camera is None:
        return FieldOfView(0.0, 0.0, 1.0, 0.0)
    nearest, farthest = NEAREST_SIGHT, camera.sees_to
    for kind in kinds:
        from_edge, to_edge = lid_in_picture(camera, kind.height)
        nearest, farthest = max(nearest, from_edge), min(farthest, to_edge)
    return FieldOfView(camera.mount.ahead, 0.5 * camera.field_of_view, farthest, nearest)


def look_round(robot: Robot, errand: Errand, view: FieldOfView) -> LookRound:
    """Return what the robot sees of the ground, objects standing on it, that turns on the spot."""
    outline = outline_of(robot, errand.widest, loaded=False)
    farthest = LOOKING_SHARE * view.reach
    return LookRound(max(0.0, view.nearest + view.ahead), farthest + view.ahead, outline.radius + TURNING_ROOM)
