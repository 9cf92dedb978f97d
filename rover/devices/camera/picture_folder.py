"""Pictures of a folder in place of a camera's: recorded frames seen again, without the camera."""

from collections.abc import Mapping, Sequence
from concurrent.futures import Future
from functools import partial
from pathlib import Path
from typing import Any

from rover.devices.camera.capture import opencv
from rover.devices.kernel.files import DeviceError, explain
from rover.devices.protocols import DriverContext
from rover.devices.readings import Frame, Reading

ENDINGS = (".png", ".jpg", ".jpeg", ".bmp", ".tif", ".tiff", ".webp")


def read_picture(path: Path) -> Any:
    """Return a picture as rows of blue, green and red.

    Raises:
        DeviceError: it is no picture, or is cut short; or the package is missing.
    """
    cv2 = opencv()
    image = cv2.imread(str(path), cv2.IMREAD_COLOR) if path.is_file() else None
    if image is None:
        raise DeviceError(f"{path} is no picture that can be read")
    return image


def pictures_in(folder: Path) -> list[Path]:
    """Return the pictures of a folder by their names.

    Raises:
        DeviceError: there is no such folder, or it has none.
    """
    if not folder.is_dir():
        raise DeviceError(f"there is no folder {folder}")
    try:
        paths = sorted(path for path in folder.iterdir() if path.suffix.lower() in ENDINGS)
    except OSError as error:
        raise DeviceError(explain(error, folder)) from error
    if not paths:
        raise DeviceError(f"{folder} has no pictures (known: {', '.join(ENDINGS)})")
    return paths


class Camera:
    """Reports the pictures of ``folder`` one after the other at ``rate``, each as taken when it is due.

    They are read meanwhile. One whose time passes before it can be read is left out, as a camera would. After the last
    one comes the first again, or with ``repeat: false`` no more.

    Raises:
        DeviceError: there is no such folder, it has no pictures, or the package is missing.
    """

    def __init__(self, options: Mapping[str, Any], context: DriverContext) -> None:
        opencv()
        self._paths = pictures_in(Path(options["folder"]))
        self._repeats = bool(options["repeat"])
        self._period_ns = round(1e9 / options["rate"])
        self._meanwhile = context.meanwhile
        self._began_ns: int | None = None
        self._sequence = -1
        self._reading: Future[Reading] | None = None

    def poll(self, now_ns: int) -> Sequence[Reading]:
        """Return the picture that is due, once it has been read.

        Raises:
            DeviceError: it cannot be read.
        """
        if self._began_ns is None:
            self._began_ns = now_ns
        due = (now_ns - self._began_ns) // self._period_ns
        if self._reading is None and due > self._sequence and (self._repeats or due < len(self._paths)):
            self._sequence = due
            path, taken_ns = self._paths[due % len(self._paths)], self._began_ns + due * self._period_ns
            self._reading = self._meanwhile(partial(_read, path, taken_ns, due))
        if self._reading is None or not self._reading.done():
            return ()
        reading, self._reading = self._reading, None
        return (reading.result(),)

    def close(self) -> None:
        """Show no more."""
        self._paths, self._repeats = [], False


def _read(path: Path, taken_ns: int, sequence: int) -> Reading:
    image = read_picture(path)
    height, width = image.shape[:2]
    return Reading(taken_ns, sequence, Frame(image, width, height))
