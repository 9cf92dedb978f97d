"""What conditions read of a camera, besides the targets that are found with it."""

from rover.devices.camera.keys import CameraKeys
from rover.devices.camera.values import MARKER, Detections
from rover.devices.signals import DeviceSignal
from rover.kinds import Number


def _objects(value: Detections, keys: CameraKeys) -> int:
    return sum(one.kind != MARKER for one in value.objects)


SIGNALS = {"objects": DeviceSignal(Number(whole=True), "objects of the errand's kinds in the last frame", _objects)}
