"""The families of devices: adding one is a folder beside this file, and a line here."""

import typing

from rover.devices.battery.keys import BatteryKeys
from rover.devices.camera.keys import CameraKeys
from rover.devices.counts.keys import CountsKeys
from rover.devices.drive.keys import DriveKeys
from rover.devices.gripper.keys import GripperKeys
from rover.devices.heading.keys import HeadingKeys
from rover.devices.keys import DeviceKeys
from rover.devices.range.keys import RangeKeys
from rover.devices.stop_input.keys import StopInputKeys
from rover.files.types import Model


class Devices(Model):
    """The devices by family; the ones left out are absent."""

    drive: DriveKeys
    counts: CountsKeys
    heading: HeadingKeys | None = None
    range: RangeKeys | None = None
    camera: CameraKeys | None = None
    gripper: GripperKeys | None = None
    battery: BatteryKeys | None = None
    stop_input: StopInputKeys | None = None

    @property
    def gripper_is_silent(self) -> bool:
        """The gripper only takes commands: nothing is reported, so nothing can be overdue."""
        return self.gripper is None or self.gripper.feedback == "none"

    def fitted(self) -> dict[str, DeviceKeys]:
        """Return the devices the robot has, by family, in the order of the model."""
        pairs = ((family, getattr(self, family)) for family in type(self).model_fields)
        return {family: device for family, device in pairs if device is not None}


def _keys_in(annotation: object) -> type[DeviceKeys]:
    """Return the model in ``Model`` or ``Model | None``."""
    found: type[DeviceKeys] = (typing.get_args(annotation) or (annotation,))[0]
    return found


KEYS = {family: _keys_in(field.annotation) for family, field in Devices.model_fields.items()}
"""The model of what stands under a family's name."""
