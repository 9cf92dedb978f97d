"""The camera driver `video`: frames of `rover.devices.video`, and what `rover.vision` finds in them.

It stands here since drivers know nothing of vision, and vision nothing of threads.
"""

from collections.abc import Mapping
from typing import Any

from rover.devices.protocols import DriverContext
from rover.devices.readings import Detections, Frame
from rover.devices.video import Video
from rover.files import robot as files
from rover.vision.detector import Detector, FrameWatch


class Camera(Video):
    """Reports `Detections`; the frame in which they were found is kept beside them, in ``frame``.

    A frame that shows nothing to rely on (dark, frozen, of a wrong size) gives no report, so that the device becomes
    overdue; ``trouble`` says what is wrong with the latest one, and is empty for a good one.

    Options: those of `Video`. The kinds to look for are the errand's, in ``context.kinds``; without an errand there are
    none, and every frame is then empty.

    Raises:
        DeviceError: see `Video`.
    """

    def __init__(self, options: Mapping[str, Any], context: DriverContext) -> None:
        known = {key: value for key, value in options.items() if key in files.Camera.model_fields}
        device = files.Camera.model_construct(**known)
        kinds = context.kinds
        self._detector = Detector(device, context.robot.colours, kinds, context.robot.marker)
        self._watch = FrameWatch(device)
        self.trouble = ""
        super().__init__(options, context)

    def value_of(self, frame: Frame) -> Detections | None:
        """Return what a frame shows, or nothing of one that is no good."""
        self.trouble = self._watch.trouble(frame.image)
        return None if self.trouble else self._detector.detections(frame.image)
