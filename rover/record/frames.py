"""Pictures of a camera, kept beside a run record: a folder of PNG files named by the time at which each was taken."""

import shutil
import struct
import threading
import zlib
from collections.abc import Callable, Sequence
from pathlib import Path

from rover.devices.readings import Frame, Reading

KEEP_EVERY_NS = 1_000_000_000
ROOM_FOR_MORE = 200_000_000
"""Bytes that stay free on the disk: pictures are the first to be left out."""
WRITTEN_WITHIN_S = 5.0
_QUICK = 1


def png(frame: Frame) -> bytes:
    """Return a frame as PNG, 8 bit, red, green, blue.

    Source: Portable Network Graphics (PNG) Specification (Second Edition), ISO/IEC 15948:2004, clauses 5.3 and 11.2.
    """
    rows = [b"\0" + row[:, ::-1].tobytes() for row in frame.image]
    height, width = frame.image.shape[:2]
    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    parts = ((b"IHDR", head), (b"IDAT", zlib.compress(b"".join(rows), _QUICK)), (b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(_chunk(kind, data) for kind, data in parts)


def _chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


class FrameFolder:
    """Keeps a frame a second, or as often as told, while there is room; the folder is made with the first. One thread.

    Attributes:
        trouble: why frames are not kept any more; empty while they are.
    """

    def __init__(self, record: Path, every_ns: int = KEEP_EVERY_NS) -> None:
        self.path = record.with_suffix(".frames")
        self.trouble = ""
        self._every_ns = every_ns
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
            (self.path / f"{reading.taken_ns}.png").write_bytes(png(reading.value))
        except OSError as error:
            self.trouble = f"no more frames are kept: {error}"


class CameraFrames:
    """Keeps frames of a camera that is at work; they are packed in a thread, since that takes longer than a step.

    Args:
        record: the run record's file.
        newest: returns the newest frame, None where there is none.
    """

    def __init__(self, record: Path, newest: Callable[[], Reading | None]) -> None:
        self._folder = FrameFolder(record)
        self._newest = newest
        self._packing = threading.Thread()

    @property
    def trouble(self) -> str:
        """Why frames are not kept any more; empty while they are."""
        return self._folder.trouble

    def take(self, new: Sequence[tuple[str, Reading]]) -> None:
        """Keep the frame of a reading among a step's, unless an earlier one is still being packed."""
        if self._packing.is_alive() or not any(family == "camera" for family, _ in new):
            return
        frame = self._newest()
        if frame is not None and self._folder.is_due(frame):
            self._packing = threading.Thread(target=self._folder.keep, args=(frame,), name="frames", daemon=True)
            self._packing.start()

    def close(self) -> None:
        """Wait for the last frame, but not for a disk that hangs."""
        if self._packing.is_alive():
            self._packing.join(WRITTEN_WITHIN_S)
