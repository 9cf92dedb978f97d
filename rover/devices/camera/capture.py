"""Frames of what OpenCV opens, each with its time; the package is imported when a camera is used."""

import os
import threading
import time
from collections.abc import Sequence
from typing import Any

from rover.devices.kernel.files import DeviceError
from rover.devices.readings import Frame, Reading
from rover.errors import in_words, to_install


def opencv() -> Any:
    """Return the package, silenced: what cannot be opened is told in our words alone.

    Raises:
        DeviceError: it is missing.
    """
    try:
        import cv2
    except ImportError as error:
        raise DeviceError(f"a camera needs the package 'opencv': {to_install('vision')}") from error
    os.environ.setdefault("OPENCV_FFMPEG_LOGLEVEL", "-8")
    cv2.utils.logging.setLogLevel(cv2.utils.logging.LOG_LEVEL_SILENT)
    return cv2


class CapturedFrames:
    """Reports `Frame` values. A thread of its own reads them, and keeps the newest report only.

    `poll` and `close` may be called by any thread.

    Args:
        capture: an opened ``cv2.VideoCapture``; released at the end.
        name: of the camera, for messages.
        latency: from the shutter to the moment at which a frame is there (s).
    """

    def __init__(self, capture: Any, name: str, latency: float) -> None:
        self._capture, self._name, self._latency_ns = capture, name, round(latency * 1e9)
        self._newest: Reading | None = None
        self._sequence = 0
        self._why_ended = ""
        self._lock = threading.Lock()
        self._closing = threading.Event()
        self._thread = threading.Thread(target=self._run, name=f"camera {name}", daemon=True)
        self._thread.start()

    def poll(self, now_ns: int) -> Sequence[Reading]:
        """Return the newest frame, if it has not been returned before.

        Raises:
            DeviceError: no more come: whoever polls has the camera opened anew.
        """
        why_ended = self._why_ended  # looked at before the frame, so that the last one is returned as well
        with self._lock:
            newest, self._newest = self._newest, None
        if newest is None and why_ended:
            raise DeviceError(f"{self._name} {why_ended}")
        return () if newest is None else (newest,)

    def close(self) -> None:
        """Let go of the camera; a second call does nothing."""
        self._closing.set()
        self._thread.join()

    def shutter_ns(self, grabbed_ns: int) -> int:
        """Return when the frame grabbed last was taken (monotonic ns)."""
        return grabbed_ns - self._latency_ns

    def _run(self) -> None:
        try:
            while not self._closing.is_set() and self._capture.grab():
                self._take(self.shutter_ns(time.monotonic_ns()))
            self._why_ended = "gives no more pictures; was it unplugged or switched off?"
        except Exception as error:
            self._why_ended = f"cannot be read: {in_words(error)}"
        finally:
            self._capture.release()

    def _take(self, taken_ns: int) -> None:
        good, image = self._capture.retrieve()
        if good:
            height, width = image.shape[:2]
            self._sequence += 1
            with self._lock:
                self._newest = Reading(taken_ns, self._sequence, Frame(image, width, height))
