"""USB camera by the kernel's video interface (V4L2), read through OpenCV, which is imported when a camera is used."""

import errno
import os
import threading
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

from rover.devices.camera.keys import CameraKeys
from rover.devices.kernel.files import DeviceError, explain
from rover.devices.protocols import DriverContext
from rover.devices.readings import Detections, Fault, Frame, Reading

_NS = 1e9
_STAMP_TRUSTED_NS = 1_000_000_000
_RETRY_S = 0.5
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


class Video:
    """Frames with their times: values are `Frame`, or what a class based on this one makes of them.

    A thread of its own reads the camera and keeps the newest report only; a camera that is unplugged is opened again
    as soon as it is back. `poll`, `wait` and `close` may be called by any thread.

    ``video`` may also be a recorded one. A setting given (`locks_of`) is locked and read back; one left out is the
    camera's affair.

    Raises:
        DeviceError: no such camera, no permission, in use, the package is missing, or a setting was ignored.
    """

    def __init__(self, options: Mapping[str, Any], context: Any = None) -> None:
        self._cv2 = _package()
        self._options = options
        self._latency_ns = round(options["latency"] * _NS)
        self._newest: Reading | None = None
        self._frame: Reading | None = None
        self._sequence = 0
        self._arrived = threading.Condition()
        self._closing = threading.Event()
        self._capture = open_camera(options, self._cv2)
        self._thread = threading.Thread(target=self._run, name="camera", daemon=True)
        self._thread.start()

    def poll(self, now_ns: int) -> Sequence[Reading]:
        """Return the newest report, if it has not been returned before."""
        with self._arrived:
            newest, self._newest = self._newest, None
        return () if newest is None else (newest,)

    @property
    def frame(self) -> Reading | None:
        """The newest frame of which something was reported, with the time and sequence number of that report."""
        with self._arrived:
            return self._frame

    def value_of(self, frame: Frame) -> Any:
        """Return what is reported of a frame, in the camera's thread; None is no report."""
        return frame

    def wait(self, seconds: float) -> bool:
        """Wait until there is a report to poll, or for so long (s); tell whether there is one."""
        with self._arrived:
            return self._arrived.wait_for(lambda: self._newest is not None, seconds)

    def close(self) -> None:
        """Let go of the camera; a second call does nothing."""
        self._closing.set()
        self._thread.join()

    def _run(self) -> None:
        try:
            while not self._closing.is_set():
                if not self._take() and not self._closing.wait(_RETRY_S):
                    self._reopen()
        finally:
            self._capture.release()

    def _take(self) -> bool:
        if not self._capture.grab():
            return False
        grabbed_ns = time.monotonic_ns()
        stamp_ms = self._capture.get(self._cv2.CAP_PROP_POS_MSEC)
        good, image = self._capture.retrieve()
        if good:
            height, width = image.shape[:2]
            self._put(taken_ns(stamp_ms, grabbed_ns, self._latency_ns), Frame(image, width, height))
        return bool(good)

    def _put(self, when_ns: int, frame: Frame) -> None:
        value = self.value_of(frame)
        if value is None:
            return
        with self._arrived:
            self._sequence += 1
            self._newest = Reading(when_ns, self._sequence, value)
            self._frame = Reading(when_ns, self._sequence, frame)
            self._arrived.notify_all()

    def _reopen(self) -> None:
        self._capture.release()
        try:
            self._capture = open_camera(self._options, self._cv2)
        except DeviceError:
            return  # still away: nothing is reported, so the device is overdue


class Camera(Video):
    """Reports `Detections`; the frame in which they were found is kept beside them, in ``frame``.

    A frame that shows nothing to rely on (dark, frozen, of a wrong size) gives no report, so that the device becomes
    overdue; ``trouble`` says what is wrong with the latest one, and is empty for a good one.

    Raises:
        DeviceError: see `Video`.
    """

    def __init__(self, options: Mapping[str, Any], context: DriverContext) -> None:
        self._find = context.finder_of(CameraKeys.model_construct(**options))
        self.trouble = ""
        super().__init__(options, context)

    def value_of(self, frame: Frame) -> Detections | None:
        """Return what a frame shows, or nothing of one that is no good."""
        found = self._find(frame)
        self.trouble = found.why if isinstance(found, Fault) else ""
        return None if isinstance(found, Fault) else found


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


def _package() -> Any:
    try:
        import cv2
    except ImportError as error:
        raise DeviceError("a camera needs the package 'opencv'; install it: pip install 'rover[vision]'") from error
    return cv2
