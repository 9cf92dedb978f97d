"""Network camera: motion pictures by HTTP (MJPEG) or RTSP, read through OpenCV."""

from collections.abc import Mapping
from typing import Any

from rover.devices.camera.capture import CapturedFrames, opencv
from rover.devices.kernel.files import DeviceError

ANSWERS_WITHIN_S = 3.0
"""A camera that neither answers nor sends for so long is given up, and called again."""


class Camera(CapturedFrames):
    """Frames from an ``address``; each was taken ``latency`` before it was there.

    Raises:
        DeviceError: nothing answers at the address, or sends no pictures; or the package is missing.
    """

    def __init__(self, options: Mapping[str, Any], context: Any = None) -> None:
        cv2 = opencv()
        address, most_ms = options["address"], round(ANSWERS_WITHIN_S * 1e3)
        limits = [cv2.CAP_PROP_OPEN_TIMEOUT_MSEC, most_ms, cv2.CAP_PROP_READ_TIMEOUT_MSEC, most_ms]
        capture = cv2.VideoCapture(address, cv2.CAP_FFMPEG, limits)
        if not capture.isOpened():
            capture.release()
            raise DeviceError(
                f"{address} gives no pictures; is the camera on, is it in the same network, and is the path after the "
                "host's name that of its stream?"
            )
        super().__init__(capture, address, options["latency"])
