"""Pictures of a camera, kept beside a run record: a folder of JPEG files named by the time at which each was taken."""

import shutil
import threading
from collections.abc import Callable, Sequence
from pathlib import Path

from rover.devices.readings import Frame, Reading
from rover.errors import to_install
from rover.files.robot import RecordKeys

ROOM_FOR_MORE = 200_000_000
"""Bytes that stay free on the disk: pictures are the first to be left out."""
WRITTEN_WITHIN_S = 5.0


def jpeg(frame: Frame, quality: float) -> bytes:
    """Return a frame as JPEG; the quality is 0 to 1.

    Raises:
        OSError: it cannot be packed: the package is missing, or the image is none.
    """
    try:
        import cv2
    except ImportError as error:
        raise OSError(f"the package 'opencv' writes them: {to_install('vision')}") from error
    try:
        good, packed = cv2.imencode(".jpg", frame.image, [cv2.IMWRITE_JPEG_QUALITY, round(100 * quality)])
    except cv2.error as error:
        raise OSError(f"this is no image: {error.err}") from error
    if not good:
        raise OSError("the image cannot be packed")
    return packed.tobytes()


def folder_of(record: Path) -> Path:
    """Return the folder of a record's frames; where none were kept there is none."""
    return record.with_suffix(".frames")


def frames_of(record: Path) -> list[Path]:
    """Return the frames that are kept beside a record, oldest first; earlier versions kept PNG files."""
    return frames_in(folder_of(record))


def frames_in(folder: Path) -> list[Path]:
    """Return the frames in a folder of them, as `frames_of` does."""
    found = [path for path in folder.glob("*") if path.suffix in (".jpg", ".png")]
    return sorted((path for path in found if path.stem.isdecimal()), key=lambda path: int(path.stem))


class FrameFolder:
    """Keeps frames at a set rate while there is room; the folder is made with the first. For one thread.

    Attributes:
        trouble: why frames are not kept any more; empty while they are.
    """

    def __init__(self, record: Path, keys: RecordKeys) -> None:
        self.path = folder_of(record)
        self.trouble = ""
        self._every_ns, self._quality = round(1e9 / keys.frames), keys.quality
        self._next_ns = 0

    def is_due(self, reading: Reading) -> bool:
        """Tell whether a frame would be kept."""
        return not self.trouble and reading.taken_ns >= self._next_ns

    def keep(self, reading: Reading) -> None:
        """Write a frame, if one is due."""
        if not self.is_due(reading):
            return
        self._next_ns = reading.taken_ns + self._every_ns
        try:
            self.path.mkdir(exist_ok=True)
            if shutil.disk_usage(self.path).free < ROOM_FOR_MORE:
                raise OSError("little room is left on the disk")
            (self.path / f"{reading.taken_ns}.jpg").write_bytes(jpeg(reading.value, self._quality))
        except OSError as error:
            self.trouble = f"no more frames are kept: {error}"


class CameraFrames:
    """Keeps frames of a camera that is at work; they are packed in a thread, since that takes longer than a step.

    Args:
        record: the run record's file.
        newest: returns the newest frame, None where there is none.
        keys: how many are kept, and how.
    """

    def __init__(self, record: Path, newest: Callable[[], Reading | None], keys: RecordKeys) -> None:
        self._folder = FrameFolder(record, keys)
        self._newest = newest
        self._packing = threading.Thread()

    @property
    def trouble(self) -> str:
        """Why frames are not kept any more; empty while they are."""
        return self._folder.trouble

    def take(self, new: Sequence[tuple[str, Reading]]) -> None:
        """Keep the frame of a reading among a step's, unless an earlier one is still being packed."""
        for family, reading in new:
            if family == "camera" and self._folder.is_due(reading):
                self._take_newest()

    def _take_newest(self) -> None:
        frame = None if self._packing.is_alive() else self._newest()
        if frame is not None and self._folder.is_due(frame):
            self._packing = threading.Thread(target=self._folder.keep, args=(frame,), name="frames", daemon=True)
            self._packing.start()

    def close(self) -> None:
        """Wait for the last frame, but not for a disk that hangs."""
        if self._packing.is_alive():
            self._packing.join(WRITTEN_WITHIN_S)
