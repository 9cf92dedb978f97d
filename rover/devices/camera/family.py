"""The family of the camera."""

from rover.devices.camera.keys import CameraKeys
from rover.devices.camera.signals import SIGNALS
from rover.devices.camera.values import Detections
from rover.devices.family import Family

CAMERA = Family(CameraKeys, Detections, signals=SIGNALS, may_be_several=True, faults=("silent", "frozen"))
