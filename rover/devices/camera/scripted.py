"""The fake camera: plays what a test or a robot file wrote."""

from collections.abc import Sequence
from typing import Any

from rover.devices.camera.values import Detections
from rover.devices.script import Played


class Camera(Played):
    """Entries [time]: frames in which nothing is found; or, from Python, [time, objects]."""

    @staticmethod
    def VALUE(objects: Sequence[Any] = ()) -> Detections:  # noqa: N802  it stands in for a value type
        """Return the value of an entry."""
        return Detections(tuple(objects))
