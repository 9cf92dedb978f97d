"""USB camera by the kernel's video interface (V4L2), read through OpenCV."""

import errno
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any, NamedTuple

from rover.devices.camera.capture import CapturedFrames, opencv
from rover.devices.kernel.files import DeviceError, explain

_STAMP_TRUSTED_NS = 1_000_000_000
_MANUAL_EXPOSURE, _OFF = 1, 0
_EXPOSURE_STEP_S = 100e-6
"""V4L2's unit of an absolute exposure time (V4L2_CID_EXPOSURE_ABSOLUTE)."""


class Lock(NamedTuple):
    """One setting of the camera that is to stay as it is: OpenCV's names, and the value in the camera's own scale."""

    key: str
    automatic: str | None
    automatic_off: int
    setting: str
    value: float


_LOCKS = {
    "exposure": ("CAP_PROP_AUTO_EXPOSURE", _MANUAL_EXPOSURE, "CAP_PROP_EXPOSURE"),
    "gain": (None, _OFF, "CAP_PROP_GAIN"),
    "white_balance": ("CAP_PROP_AUTO_WB", _OFF, "CAP_PROP_WB_TEMPERATURE"),
    "focus": ("CAP_PROP_AUTOFOCUS", _OFF, "CAP_PROP_FOCUS"),
}


def locks_of(options: Mapping[str, Any]) -> list[Lock]:
    """Return the settings to lock: those that the robot file gives."""
    values = {key: options[key] for key in _LOCKS if options[key] is not None}
    if "exposure" in values:
        values["exposure"] = round(values["exposure"] / _EXPOSURE_STEP_S)
    return [Lock(key, *_LOCKS[key], float(value)) for key, value in values.items()]


def complaint_of(lock: Lock, capture: Any, cv2: Any) -> str:
    """Set and read back one lock; return what the camera did not do, or ''."""
    if lock.automatic is not None:
        capture.set(getattr(cv2, lock.automatic), lock.automatic_off)
        if round(capture.get(getattr(cv2, lock.automatic))) != lock.automatic_off:
            return f"'{lock.key}' stays automatic"
    capture.set(getattr(cv2, lock.setting), lock.value)
    found = capture.get(getattr(cv2, lock.setting))
    return "" if round(found) == round(lock.value) else f"'{lock.key}' reads back {found:g}, not {lock.value:g}"


def taken_ns(stamp_ms: float, grabbed_ns: int, latency_ns: int) -> int:
    """Return when a frame was taken (monotonic ns): its buffer's stamp less the latency.

    The kernel stamps buffers by the monotonic clock; a stamp that is not within a second of it (a file, or another
    backend) is not used, and the time at which the frame was grabbed stands in.
    """
    stamp_ns = round(stamp_ms * 1e6)
    return (stamp_ns if 0 <= grabbed_ns - stamp_ns < _STAMP_TRUSTED_NS else grabbed_ns) - latency_ns


class Camera(CapturedFrames):
    """A camera of the kernel, or a recorded video.

    A setting that is given (`locks_of`) is locked and read back; one left out is the camera's affair.

    Raises:
        DeviceError: no such camera, no permission, in use, the package is missing, or a setting was ignored.
    """

    def __init__(self, options: Mapping[str, Any], context: Any = None) -> None:
        cv2 = opencv()
        self._stamp = cv2.CAP_PROP_POS_MSEC
        super().__init__(open_camera(options, cv2), options["video"], options["latency"])

    def shutter_ns(self, grabbed_ns: int) -> int:
        """Return when the frame grabbed last was taken, by its buffer's stamp."""
        return taken_ns(self._capture.get(self._stamp), grabbed_ns, self._latency_ns)


def open_camera(options: Mapping[str, Any], cv2: Any) -> Any:
    """Return an opened capture with its size, rate and locks set.

    Raises:
        DeviceError: it cannot be opened, or ignored a setting.
    """
    path = Path(options["video"])
    try:
        path.stat()
    except OSError as error:
        raise DeviceError(explain(error, path)) from error
    if not os.access(path, os.R_OK):
        raise DeviceError(explain(OSError(errno.EACCES, ""), path))
    is_camera = path.is_char_device()
    capture = cv2.VideoCapture(str(path), cv2.CAP_V4L2 if is_camera else cv2.CAP_ANY)
    try:
        if not capture.isOpened():
            raise DeviceError(f"{path} gives no pictures; is another program using it, or is it no camera?")
        if is_camera:
            capture.set(cv2.CAP_PROP_BUFFERSIZE, 1)
            capture.set(cv2.CAP_PROP_FRAME_WIDTH, options["frame_width"])
            capture.set(cv2.CAP_PROP_FRAME_HEIGHT, options["frame_height"])
            capture.set(cv2.CAP_PROP_FPS, options["rate"])
        _lock(capture, options, path, cv2)
    except BaseException:
        capture.release()
        raise
    return capture


def _lock(capture: Any, options: Mapping[str, Any], path: Path, cv2: Any) -> None:
    complaints = [why for lock in locks_of(options) if (why := complaint_of(lock, capture, cv2))]
    if complaints:
        advice = "leave the key out, or use a camera that can"
        raise DeviceError(f"{path} ignores what the robot file sets: {'; '.join(complaints)}; {advice}")
