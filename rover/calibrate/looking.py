"""`rover look`: what the vision sees in pictures or before a camera, told and drawn, for tuning colours and limits."""

import math
import time
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any, NamedTuple
from urllib.parse import urlsplit

from rover.devices.camera import network_camera, video
from rover.devices.camera.keys import CameraKeys, VideoKeys
from rover.devices.camera.picture_folder import ENDINGS, pictures_in, read_picture
from rover.devices.kernel.files import DeviceError
from rover.devices.meanwhile import in_a_thread
from rover.devices.protocols import DriverContext
from rover.devices.readings import Fault, Frame
from rover.errors import UserError, in_short, to_install
from rover.files import load
from rover.files.errand import Kind
from rover.files.problems import FileProblems
from rover.files.robot import Robot
from rover.session.drivers import make_driver
from rover.vision.colour import patches_of, to_hsv
from rover.vision.detector import FrameWatch, detector_of
from rover.vision.lens import direction, view_of
from rover.vision.pictures import annotated, described, write_picture

WAIT_S, LOOK_EVERY_S = 10.0, 0.01
SETTLED_AFTER = 5
"""The first frames after opening are still dark or blue with some cameras."""
VIVID = (80, 40)
"""Saturation and value from which a pixel counts as coloured, where no robot file says what to look for."""
BAND = 10


class Look(NamedTuple):
    """What one picture shows: its name, lines for a person, and the picture with what was found drawn in."""

    name: str
    lines: tuple[str, ...]
    picture: Any


def pictures_at(source: Path | str, camera: CameraKeys) -> Iterator[tuple[str, Any]]:
    """Yield (name, picture) of a picture, of all in a folder by their names, or a frame of a camera or recorded video.

    In a folder, None stands for a picture that cannot be read.

    Args:
        source: where they are; a text is a network camera's address.
        camera: the rest of the camera's keys.

    Raises:
        UserError: there is none; the message says why.
    """
    keys = camera.options
    if isinstance(source, str):
        yield urlsplit(source).hostname or "camera", _frame_of(network_camera.Camera(keys | {"address": source}))
    elif not source.exists():
        raise UserError(f"there is no {source}")
    elif source.is_dir():
        yield from ((path.stem, _picture_if_readable(path)) for path in pictures_in(source))
    elif source.suffix.lower() in ENDINGS:
        yield source.stem, read_picture(source)
    else:
        yield source.stem, _frame_of(video.Camera(VideoKeys().options | keys | {"video": str(source)}))


def _picture_if_readable(path: Path) -> Any:
    try:
        return read_picture(path)
    except UserError:
        return None


def live_frame(robot: Robot) -> Any:
    """Return a frame of the robot's own camera.

    Raises:
        UserError: it has no camera, it cannot be had, or no frame comes.
    """
    camera = robot.devices.camera
    if camera is None:
        raise UserError("the robot file has no camera; add 'camera:' to its devices")
    context = DriverContext(robot, 0, {}, name="camera", meanwhile=in_a_thread)
    return _frame_of(make_driver(camera.driver, camera, context))


def _frame_of(camera: Any) -> Any:
    """Return a picture that a camera's driver hands over, once it has settled; the driver is closed."""
    with closing(camera):
        return _settled_frame(camera)


def _settled_frame(camera: Any) -> Any:
    newest, number = None, 0
    end_s = time.monotonic() + WAIT_S
    while number < SETTLED_AFTER and time.monotonic() < end_s:
        try:
            reported = camera.poll(time.monotonic_ns())
        except DeviceError:
            if newest is None:
                raise
            break  # a short recording is at its end
        for reading in reported:
            newest, number = _picture_in(reading.value), number + 1
        time.sleep(LOOK_EVERY_S)
    if newest is None:
        raise UserError(f"the camera gave no frame within {WAIT_S:g} s")
    return newest


def _picture_in(value: Any) -> Any:
    if isinstance(value, Fault):
        raise UserError(f"the camera says: {value.why}")
    if not isinstance(value, Frame):
        raise UserError(f"the camera's driver gives {in_short(value)}; to look at, a Frame is due")
    return value.image


def files_for(robot: Path | None, errand: Path | None) -> tuple[Robot | None, Mapping[str, Kind]]:
    """Return the robot of a file, or of the errand's file, and the errand's kinds.

    Raises:
        FileProblems: mistakes in them.
    """
    if errand is None:
        return (None if robot is None else load.load(robot, "robot").model), {}
    loaded = load.load(errand, "errand")
    if robot is not None:
        return load.load(robot, "robot").model, loaded.model.kinds
    named = load.follow(loaded.source, ("files", "robot"), "robot", loaded.model.files.robot)
    if named is None:
        raise FileProblems(loaded.source.problems)
    return named.model, loaded.model.kinds


@contextmanager
def pictures_needed() -> Iterator[None]:
    """Say how to get the package that reads and draws pictures, where it is missing.

    Raises:
        UserError: it is.
    """
    try:
        yield
    except ImportError as error:
        if error.name != "cv2":
            raise
        raise UserError(f"this needs the package 'opencv': {to_install('vision')}") from error


def look(name: str, image: Any, robot: Robot | None, kinds: Mapping[str, Kind]) -> Look:
    """Return what a picture shows to this robot on an errand with these kinds.

    Without kinds colours have no size, so that only their patches and bearings are told; without a robot only which
    hues there are.
    """
    if image is None:
        return Look(name, (f"{name}: no picture that can be read",), None)
    height, width = image.shape[:2]
    camera = camera_of(robot).model_copy(update={"frame_width": width, "frame_height": height})
    trouble = FrameWatch(camera).trouble(image)
    head = f"{name}: {width}x{height}" + (f"; {trouble}" if trouble else "")
    if robot is None:
        return Look(name, (head, *_hues(image)), annotated(image, ()))
    patches = _patches(image, robot)
    if not kinds:
        note = "  distances need the lids' measures: name the errand with --errand"
        return Look(name, (head, *patches, note), annotated(image, ()))
    seen = detector_of(robot, kinds).look(image)
    found = [f"  {described(one)}" for one in seen] or ["  nothing found"]
    return Look(name, (head, *found, *patches), annotated(image, seen))


def camera_of(robot: Robot | None) -> CameraKeys:
    """Return the robot's camera, or one with all defaults."""
    device = None if robot is None else robot.devices.camera
    return VideoKeys() if device is None else device


def _patches(image: Any, robot: Robot) -> list[str]:
    view = view_of(camera_of(robot), image.shape[1], image.shape[0])
    return [
        f"  patch of {name}: {area} pixels, columns {edges.left:.1f} to {edges.right:.1f}, "
        f"rows {edges.top:.1f} to {edges.bottom:.1f}, bearing {_bearing(view, edges):+.1f} deg"
        for name, edges, area in patches_of(image, robot.colours)
    ]


def _bearing(view: Any, extent: Any) -> float:
    middle = (extent.left + extent.right) / 2.0, (extent.top + extent.bottom) / 2.0
    return math.degrees(direction(view, *middle).bearing)


def _hues(image: Any) -> list[str]:
    """Return which hues are in a picture, in bands of ten steps, the commonest first."""
    pixels = to_hsv(image).reshape(-1, 3)
    vivid = pixels[(pixels[:, 1] >= VIVID[0]) & (pixels[:, 2] >= VIVID[1])]
    bands = [(int(((vivid[:, 0] // BAND) == band).sum()), band * BAND) for band in range(180 // BAND)]
    common = sorted((one for one in bands if one[0]), reverse=True)[:5]
    lines = [f"  hue {low} to {low + BAND - 1}: {count / len(pixels):.2%} of the picture" for count, low in common]
    return lines or ["  no vivid colour"]


def keep(one: Look, folder: Path) -> Path | None:
    """Write the annotated picture, if there is one, into a folder, which is made if need be; return its path.

    Raises:
        OSError: it cannot be written.
    """
    if one.picture is None:
        return None
    folder.mkdir(parents=True, exist_ok=True)
    return write_picture(folder / f"{one.name}-seen.png", one.picture)
