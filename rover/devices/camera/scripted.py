"""A camera that plays a script."""

from collections.abc import Sequence
from typing import Any

from rover.devices.camera.values import Detections
from rover.devices.fakes import Scripted


class Camera(Scripted):
    """Entries [time]: frames in which nothing is found; or, from Python, [time, objects]."""

    @staticmethod
    def VALUE(objects: Sequence[Any] = ()) -> Detections:  # noqa: N802  it stands in for a value type
        """Return the value of an entry."""
        return Detections(tuple(objects))
