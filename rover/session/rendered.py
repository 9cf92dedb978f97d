"""`rover rehearse --rendered`: the robot file's camera is given drawn frames, and the real vision code reads them."""

from collections import Counter
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from rover.bench.rendered_camera import RenderedCamera
from rover.devices.protocols import DriverContext
from rover.devices.readings import Detections, Frame
from rover.errors import UserError
from rover.files.bench import BenchFile
from rover.files.robot import Robot
from rover.record.frames import FrameFolder
from rover.vision.detector import Detector, FrameWatch

PICTURE_EVERY_NS = 10_000_000_000
WORTH_TELLING = 0.2
"""When more than this share of the frames was of no use, a person is told so."""


def with_rendered_camera(robot: Robot, bench: BenchFile) -> Robot:
    """Return the robot whose camera is the rendered one, with the frame size that the bench file says.

    Raises:
        UserError: the robot has no camera or one with a driver of its own, or the package for pictures is missing.
    """
    camera = robot.devices.camera
    if camera is None:
        raise UserError("--rendered draws what the camera sees; the robot file has no 'camera:' among its devices")
    if ":" in camera.driver:
        raise UserError(f"--rendered cannot stand in for the camera's own driver '{camera.driver}'; leave it out")
    try:
        import cv2
    except ImportError as error:
        raise UserError("--rendered needs the package 'opencv'; install it: pip install 'rover[vision]'") from error
    cv2.setNumThreads(1)  # for frames this small, threads cost more than they bring
    size = {"frame_width": bench.rendering.frame_width, "frame_height": bench.rendering.frame_height}
    # Drawn through a pinhole, so there is no distortion to undo.
    changes = {"driver": f"{__name__}:Camera", "distortion": (), **size}
    devices = robot.devices.model_copy(update={"camera": camera.model_copy(update=changes)})
    return robot.model_copy(update={"devices": devices})


class Camera(RenderedCamera):
    """Reports the detections in rendered frames; a frame that shows nothing to rely on gives no report.

    Attributes:
        trouble: what is wrong with the latest frame; empty for a good one.
    """

    def __init__(self, options: Mapping[str, Any], context: DriverContext) -> None:
        super().__init__(options, context)
        device = context.robot.devices.camera
        assert device is not None
        self._detector = Detector(device, context.robot.colours, context.bench.errand.kinds, context.robot.marker)
        self._watch = FrameWatch(device)
        self._troubles: Counter[str] = Counter()
        self.trouble = ""

    def value_of(self, frame: Frame) -> Detections | None:
        """Return what a frame shows, or nothing of one that is no good."""
        self.trouble = self._watch.trouble(frame.image)
        self._troubles[self.trouble.partition(":")[0]] += 1
        return None if self.trouble else self._detector.detections(frame.image)

    @property
    def remarks(self) -> list[str]:
        """What a person should know of the frames, in sentences; mostly nothing."""
        number = self._troubles.total()
        return [
            f"camera: {count} of {number} frames were of no use: {trouble}"
            for trouble, count in self._troubles.items()
            if trouble and count > WORTH_TELLING * number
        ]


class Pictures:
    """Keeps a frame every ten seconds, beside the record."""

    def __init__(self, camera: RenderedCamera, record: Path) -> None:
        self._camera = camera
        self._folder = FrameFolder(record)
        self._next_ns = 0

    def keep(self, now_ns: int) -> None:
        """Keep the latest frame, if one is due."""
        if now_ns >= self._next_ns and self._camera.frame is not None:
            self._next_ns = now_ns + PICTURE_EVERY_NS
            self._folder.keep(self._camera.frame)
