"""The families of devices: adding one is a folder beside this file, and a line here."""

import typing

from pydantic import model_validator

from rover.devices.battery.keys import BatteryKeys
from rover.devices.camera.keys import CameraKeys
from rover.devices.counts.keys import CountsKeys
from rover.devices.drive.keys import DriveKeys
from rover.devices.gripper.keys import GripperKeys
from rover.devices.heading.keys import HeadingKeys
from rover.devices.keys import DeviceKeys
from rover.devices.range.keys import RangeKeys
from rover.devices.stop_input.keys import StopInputKeys
from rover.files.types import Model, ValueMistakeError

PwmChannels = tuple[tuple[str, int, int], ...]
"""(folder, chip, channel) of each."""
_ONE_LINE = "the motor guard holds wheels and jaws on one serial line"


def motor_channels(drive: DriveKeys) -> PwmChannels:
    """Return the PWM outputs of both motors; none where they are on no pins."""
    sides = (drive.left, drive.right) if drive.driver == "h_bridge" else ()
    return tuple((drive.pwm_files, drive.pwm_chip, side.pwm) for side in sides if side is not None)


def servo_channels(gripper: GripperKeys) -> PwmChannels:
    """Return the PWM output of the servo; none where it is on no pin."""
    if gripper.driver != "servo_pins" or gripper.pwm_channel is None:
        return ()
    return ((gripper.pwm_files, gripper.pwm_chip, gripper.pwm_channel),)


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

    @model_validator(mode="after")
    def _one_guard_holds_wheels_and_jaws(self) -> "Devices":
        """Refuse what would leave jaws to the runtime: the motor guard writes to one serial line, and to any pins."""
        drive, gripper = self.drive, self.gripper
        if gripper is None:
            return self
        drivers, links = (drive.driver, gripper.driver), (drive.link, gripper.link)
        if drivers == ("h_bridge", "co_processor"):
            why = f"{_ONE_LINE}, and the drive is on pins; use 'servo_pins' here"
            raise ValueMistakeError(("gripper", "driver"), why)
        if drivers == ("co_processor", "co_processor") and None not in links and links[0] != links[1]:
            why = f"{_ONE_LINE}, and the drive is on '{drive.link}'; use it here"
            raise ValueMistakeError(("gripper", "link"), why)
        if set(motor_channels(drive)) & set(servo_channels(gripper)):
            raise ValueMistakeError(("gripper", "pwm_channel"), "a motor has this channel; the servo needs its own")
        return self

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
