"""What follows from a robot file alone: its wheels' and camera's numbers, and those that do not go together."""

import math
from collections.abc import Iterator

from rover.estimate.odometry import settling_time
from rover.files.grip import lid_in_picture
from rover.files.robot import Robot
from rover.files.yaml_source import Source
from rover.motion.wheels import LAG

WIDEST = 2.0
"""A body is seldom wider than this many tracks: common practice, no source."""


def robot_facts(robot: Robot) -> Iterator[str]:
    """Yield what follows from a robot file alone."""
    body, limits, loop = robot.body, robot.limits, robot.loop
    if robot.devices.counts is not None:
        each = body.metres_per_count
        slowest = each / max(1.0 / min(loop, robot.devices.counts.rate), settling_time(each))
        yield f"a count is {each * 1000:.3g} mm; at {loop:g} Hz counts tell speeds from {slowest * 100:.2g} cm/s up"
    way = limits.speed * (LAG + 1.0 / loop) + limits.speed**2 / (2.0 * limits.deceleration)
    yield f"from its limit of {limits.speed:g} m/s the robot stops within {way * 100:.0f} cm"
    if robot.devices.camera is not None:
        near, far = ground_in_view(robot)
        near_edge = "never" if near == math.inf else f"from {m(near)}"
        degrees = math.degrees(robot.devices.camera.field_of_view)
        yield f"the camera sees the ground {near_edge} to {m(far)} before the lens, {degrees:.0f} deg wide"


def note_numbers_apart(robot: Robot, source: Source) -> None:
    """Note numbers of a robot file that do not go together."""
    body, limits, drive = robot.body, robot.limits, robot.devices.drive
    if body.track > body.width:
        why = (
            f"wider than the body ({cm(body.width)}); its 'width' is measured over the wheels, and keeps them off walls"
        )
        source.report(("body", "track"), why, warning=True)
    if body.width > WIDEST * body.track:
        why = f"more than {WIDEST:g} times the track ({cm(body.track)}); is the unit right?"
        source.report(("body", "width"), why, warning=True)
    if body.wheel_diameter > body.length:
        why = f"larger than the body is long ({cm(body.length)}); is the unit right?"
        source.report(("body", "wheel_diameter"), why, warning=True)
    if drive is not None:
        top = drive.top_speed
        if limits.speed > top:
            why = f"the limit is above what the drive can do, its 'top_speed' of {top:g} m/s; lower it, or measure that"
            source.report(("limits", "speed"), why, warning=True)
        fastest = 2.0 * top / body.effective_track
        if limits.turn_rate > fastest:
            why = (
                f"the limit is above what the drive can do: with its 'top_speed' of {top:g} m/s the base turns at "
                f"{math.degrees(fastest):.0f} deg/s at most; lower it, or measure that"
            )
            source.report(("limits", "turn_rate"), why, warning=True)
    finder = robot.devices.range
    if finder is not None and finder.least >= finder.most:
        why = f"no distance is left that it can tell: 'least' is {cm(finder.least)}, 'most' is {cm(finder.most)}"
        source.report(("devices", "range", "least"), why)
    _note_camera(robot, source)


def _note_camera(robot: Robot, source: Source) -> None:
    camera = robot.devices.camera
    if camera is None:
        return
    near, _ = ground_in_view(robot)
    if near >= camera.sees_to:
        nearest = "never meets the ground" if near == math.inf else f"meets the ground {near:.1f} m ahead"
        why = (
            f"it sees no ground within its 'sees_to' of {camera.sees_to:g} m: the picture's lower edge {nearest}; "
            "tilt it down, or mount it lower"
        )
        source.report(("devices", "camera", "tilt"), why)


def ground_in_view(robot: Robot) -> tuple[float, float]:
    """Return from where to where (m from the lens) the camera sees the ground straight ahead, without distortion."""
    camera = robot.devices.camera
    assert camera is not None
    near, far = lid_in_picture(camera, 0.0)
    return near, min(far, camera.sees_to)


def cm(metres: float) -> str:
    """Return a length in centimetres."""
    return f"{metres * 100:.3g} cm"


def m(metres: float) -> str:
    """Return a length in centimetres below a metre, in metres above."""
    return f"{metres * 100:.0f} cm" if metres < 1.0 else f"{metres:.3g} m"
