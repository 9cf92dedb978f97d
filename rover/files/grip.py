"""What of a robot can tell whether its jaws hold something: worked out from the robot file's measures alone."""

import math
from collections.abc import Mapping
from typing import NamedTuple

from rover.devices.camera.keys import CameraKeys
from rover.devices.range.keys import RangeKeys
from rover.files.errand import Kind
from rover.files.robot import Body, Robot

PITCH = math.radians(1.0)
"""A body that rolls pitches by so much, two standard deviations: what is nearer to the picture's edge is not in it."""
LEAST_AHEAD = 0.02
"""A lid nearer than this (m) before the lens is below it, not before it."""
TO_ADD = (
    "add one of: a camera that sees the jaws, a gripper with 'feedback: switch', 'position' or 'current', "
    "a range finder that looks along the jaws"
)


class Teller(NamedTuple):
    """A device that may tell of a grip.

    Attributes:
        device: its name in the robot file.
        by: what it tells by, in words.
        why_not: why it cannot tell, or ''.
    """

    device: str
    by: str
    why_not: str = ""


def tellers(robot: Robot, kind: Kind) -> list[Teller]:
    """Return the devices that may tell whether the jaws hold an object of a kind, those that cannot with the reason."""
    if robot.devices.gripper is None:
        return []
    found = []
    if robot.devices.camera is not None:
        why = why_jaws_unseen(robot.devices.camera, robot.body, kind)
        found.append(Teller("camera", "it sees the lid between the jaws", why))
    feedback = robot.devices.gripper.feedback
    how = {
        "position": "the opening at which the jaws stop",
        "current": "the current of jaws that push on something",
        "switch": "the switch at the jaws",
    }
    found.append(Teller("gripper", how.get(feedback, "feedback"), "'feedback: none'" if feedback == "none" else ""))
    for name, keys in robot.devices.of_family("range").items():
        found.append(Teller(name, "an echo that comes along in a tug", why_jaws_unheard(keys, robot.body, kind)))
    return found


def none_tells(robot: Robot, kinds: Mapping[str, Kind]) -> str:
    """Return why nothing of a robot tells whether it holds an object of some kind, and what to add; '' if all is well.

    Of a robot without a gripper there is nothing to be told.
    """
    if robot.devices.gripper is None:
        return ""
    for name, kind in kinds.items():
        found = tellers(robot, kind)
        if all(one.why_not for one in found):
            reasons = "; ".join(f"{one.device}: {one.why_not}" for one in found)
            return f"nothing of this robot tells whether the jaws hold '{name}' ({reasons}); {TO_ADD}"
    return ""


def why_jaws_unseen(camera: CameraKeys, body: Body, kind: Kind) -> str:
    """Return why a lid between the jaws is not in the camera's picture, or ''."""
    return why_lid_unseen(camera, body.gripper_reach - camera.mount.ahead, kind.height, kind.width)


def why_lid_unseen(camera: CameraKeys, ahead: float, height: float, width: float) -> str:
    """Return why a lid straight before the camera is not in its picture, or ''.

    The upper face's far edge and middle have to be: by the one it is placed (`rover.vision.location`), and less is no
    patch. From below, the near edge is the highest.

    Args:
        camera: its keys.
        ahead: from the lens forward to the lid's middle (m).
        height: of the lid's upper face above the ground (m).
        width: of the lid (m).
    """
    drop, radius = camera.height - height, 0.5 * width
    if ahead - radius < LEAST_AHEAD:
        return f"a lid between the jaws is {_cm(ahead)} before the lens, too near to be in the picture"
    highest, middle = math.atan2(drop, ahead + math.copysign(radius, drop)), math.atan2(drop, ahead)
    half = half_height(camera)
    if highest < camera.tilt - half + PITCH:
        return f"a lid {_cm(height)} high between the jaws sticks out of the picture above"
    if middle > camera.tilt + half - PITCH:
        below = f"{_degrees(middle)} below level, and the picture ends at {_degrees(camera.tilt + half)}"
        return f"a lid between the jaws is {below}"
    if math.asin(min(1.0, radius / math.hypot(ahead, drop))) > 0.5 * camera.field_of_view:
        return "a lid between the jaws is wider than the picture"
    return ""


def lid_in_picture(camera: CameraKeys, height: float) -> tuple[float, float]:
    """Return between which distances (m) from the lens a lid at a height (m) is within the picture's height.

    The first is above the second where it never is: too high for a camera that looks down, or too low.
    """
    drop, half = camera.height - height, half_height(camera)
    upper, lower = camera.tilt - half, camera.tilt + half  # of the picture's edges, below level
    if drop < 0.0:  # the same with up and down exchanged
        drop, upper, lower = -drop, -lower, -upper
    if lower <= 0.0:
        return math.inf, 0.0
    nearest = drop / math.tan(lower) if lower < 0.5 * math.pi else 0.0
    farthest = drop / math.tan(upper) if upper > 0.0 else math.inf
    return nearest, farthest


def half_height(camera: CameraKeys) -> float:
    """Return half the angle (rad) from the upper to the lower edge of a picture, square pixels taken for granted."""
    return math.atan(math.tan(0.5 * camera.field_of_view) * camera.frame_height / camera.frame_width)


def why_jaws_unheard(keys: RangeKeys, body: Body, kind: Kind) -> str:
    """Return why a range finder does not hear what the jaws hold, or ''."""
    mount = keys.mount
    ahead, left = body.gripper_reach - mount.ahead, -mount.left
    if ahead <= 0.0 or abs(math.atan2(left, ahead) - mount.towards) > 0.5 * keys.beam:
        return "it does not look along the jaws"
    distance = jaws_distance(keys, body, kind)
    if distance < keys.least:
        return f"what they hold is {_cm(distance)} before it, and it tells {_cm(keys.least)} at least"
    return ""


def jaws_distance(keys: RangeKeys, body: Body, kind: Kind) -> float:
    """Return how far (m) what the jaws hold is from a range finder's face."""
    return math.hypot(body.gripper_reach - keys.mount.ahead, keys.mount.left) - 0.5 * kind.width


def _cm(metres: float) -> str:
    return f"{100.0 * metres:.1f} cm"


def _degrees(angle: float) -> str:
    return f"{math.degrees(angle):.0f} deg"
