"""Pictures of the camera for the page: what the vision takes for a lid's colour stays bright, what it found is marked.

They are made in a thread of their own, one at a time, since that takes longer than a step.
"""

import threading
import time
from collections.abc import Mapping
from typing import Any

from rover.devices.readings import Frame, Reading
from rover.files.errand import Kind
from rover.files.robot import Robot
from rover.record.frames import jpeg
from rover.vision.colour import mask_of, to_hsv
from rover.vision.detector import detector_of
from rover.vision.pictures import annotated

EVERY_S = 1.0
QUALITY = 0.6
DIMMED = 0.45
"""Of its brightness what is of no lid's colour keeps so much."""


class PictureMaker:
    """Makes pictures of the robot's frames. The loop's thread gives and takes them, and never waits.

    Args:
        robot, kinds: as the vision has them.
    """

    def __init__(self, robot: Robot, kinds: Mapping[str, Kind]) -> None:
        self._robot, self._kinds = robot, kinds
        self._working = threading.Thread()
        self._made = b""
        self._latest_ns = -1
        self._due_s = 0.0

    def see(self, reading: Reading) -> None:
        """Have a picture made of a frame, one a second, unless there is one of it, or one is still being made."""
        now_s = time.monotonic()
        if now_s >= self._due_s and reading.taken_ns != self._latest_ns and not self._working.is_alive():
            self._due_s, self._latest_ns = now_s + EVERY_S, reading.taken_ns
            self._working = threading.Thread(target=self._make, args=(reading.value,), name="picture", daemon=True)
            self._working.start()

    def made(self) -> bytes:
        """Return the picture that has been made since the last call, as JPEG; empty if there is none."""
        made, self._made = self._made, b""
        return made

    def _make(self, frame: Frame) -> None:
        try:
            self._made = jpeg(Frame(self._drawn(frame.image), frame.width, frame.height), QUALITY)
        except Exception:  # a frame of a person's own driver may be anything; the vision tells what is wrong with it
            self._made = b""

    def _drawn(self, image: Any) -> Any:
        hsv = to_hsv(image)
        dimmed = (image * DIMMED).astype(image.dtype)
        for colour in self._robot.colours.values():
            lids = mask_of(hsv, colour) > 0
            dimmed[lids] = image[lids]
        return annotated(dimmed, detector_of(self._robot, self._kinds).look(image))
