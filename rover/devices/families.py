"""The families of devices: adding one is a folder beside this file, and its lines here."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, Self

from pydantic import ConfigDict, Field, ModelWrapValidatorHandler, ValidationInfo, model_validator

from rover.devices.battery.family import BATTERY
from rover.devices.battery.keys import BatteryKeys
from rover.devices.camera.family import CAMERA
from rover.devices.camera.keys import CameraKeys
from rover.devices.counts.family import COUNTS
from rover.devices.counts.keys import CountsKeys
from rover.devices.drive.family import DRIVE
from rover.devices.drive.keys import CoProcessorDriveKeys, DriveKeys, HBridgeKeys
from rover.devices.family import Family
from rover.devices.gripper.family import GRIPPER
from rover.devices.gripper.keys import CoProcessorGripperKeys, GripperKeys, ServoPinsKeys
from rover.devices.heading.family import HEADING
from rover.devices.heading.keys import HeadingKeys
from rover.devices.keys import DeviceKeys
from rover.devices.own import OwnDeviceKeys
from rover.devices.own import signals_of as own_signals
from rover.devices.range.family import RANGE
from rover.devices.range.keys import RangeKeys
from rover.devices.signals import DeviceSignal
from rover.devices.stop_input.family import STOP_INPUT
from rover.devices.stop_input.keys import StopInputKeys
from rover.devices.with_driver import Declared, WithDriver
from rover.files.problems import nearest
from rover.files.types import KeyMistakeError, Model, NameMistakeError, ValueMistakeError, why_no_name

PwmChannels = tuple[tuple[str, int, int], ...]
"""(folder, chip, channel) of each."""
_ONE_LINE = "the motor guard holds wheels and jaws on one serial line"

FAMILIES: Mapping[str, Family] = MappingProxyType(
    {
        "drive": DRIVE,
        "counts": COUNTS,
        "heading": HEADING,
        "range": RANGE,
        "camera": CAMERA,
        "gripper": GRIPPER,
        "battery": BATTERY,
        "stop_input": STOP_INPUT,
    }
)


def model_for(family: str, driver: str, declared: Declared | None = None) -> type[WithDriver]:
    """Return the model of a device's keys; see `WithDriver.for_driver`."""
    return FAMILIES[family].keys.for_driver(driver, declared)


def motor_channels(drive: DriveKeys) -> PwmChannels:
    """Return the PWM outputs of both motors; none where they are on no pins."""
    if not isinstance(drive, HBridgeKeys):
        return ()
    return tuple((drive.pwm_files, drive.pwm_chip, side.pwm) for side in (drive.left, drive.right))


def servo_channels(gripper: GripperKeys) -> PwmChannels:
    """Return the PWM output of the servo; none where it is on no pin."""
    if not isinstance(gripper, ServoPinsKeys):
        return ()
    return ((gripper.pwm_files, gripper.pwm_chip, gripper.pwm_channel),)


TAKEN = (
    *("run", "pose", "target", "jaws", "objects", "slots", "field", "motion", "record", "operator", "settings", "zone"),
    *("grip", "link", "driver", "loop", "commands", "guard", "outputs", "drive_on", "devices"),
)
"""Names that no further device may have: conditions, faults and run records use them for something else."""


class FurtherKeys(DeviceKeys):
    """A device by a name of the person's choice: another of a family, or of none and declaring its signals."""

    @classmethod
    def for_values(cls, values: Any, context: Any) -> type[Any]:
        """See `Model.for_values`."""
        family = FAMILIES.get(str(values.get("family"))) if isinstance(values, Mapping) else None
        return (OwnDeviceKeys if family is None else family.keys).for_values(values, context)

    @model_validator(mode="wrap")
    @classmethod
    def _by_its_driver(cls, values: Any, handler: ModelWrapValidatorHandler[Self], info: ValidationInfo) -> Any:
        if not isinstance(values, Mapping):
            return handler(values)
        if "family" in values:
            family = str(values["family"])
            several = [name for name, one in FAMILIES.items() if one.may_be_several]
            if family not in several:
                why = "a robot has one of these" if family in FAMILIES else "there is no such family of devices"
                raise ValueMistakeError(("family",), why + nearest(family, several))
        elif "signals" not in values:
            why = "no device is called so; one of your own needs 'family:' or 'signals:'"
            raise NameMistakeError(why, FAMILIES)
        keys = {key: value for key, value in values.items() if key != "family"}
        return cls.for_values(values, info.context).model_validate(keys, context=info.context)


class Devices(Model):
    """The devices: those of the families by the family's name, and any further ones by names of the person's choice.

    The ones left out are absent.
    """

    model_config = ConfigDict(extra="allow")
    __pydantic_extra__: dict[str, FurtherKeys] = Field(init=False)

    drive: DriveKeys
    """Two motor channels, the wheels of a side coupled."""
    counts: CountsKeys
    """Wheel encoders."""
    heading: HeadingKeys | None = None
    """Absolute-orientation sensor or compass."""
    range: RangeKeys | None = None
    """Ultrasonic range finder, looking ahead."""
    camera: CameraKeys | None = None
    """Camera, looking ahead and down."""
    gripper: GripperKeys | None = None
    """Servo gripper."""
    battery: BatteryKeys | None = None
    """Battery monitor."""
    stop_input: StopInputKeys | None = None
    """Hard-wired stop, normally closed: an open circuit stops."""

    @model_validator(mode="after")
    def _further_names_can_be_read(self) -> "Devices":
        for name in self.further:
            if why := why_no_name(name, TAKEN):
                raise KeyMistakeError(name, f"no name for a device: {why}")
        return self

    @model_validator(mode="after")
    def _main_ones_look_ahead(self) -> "Devices":
        for family, keys in (("range", ("towards",)), ("camera", ("towards", "left"))):
            at = getattr(getattr(self, family), "at", None)
            for key in keys if at is not None else ():
                if getattr(at, key):
                    why = f"'{family}' is the one that looks straight ahead; give another one a name of its own"
                    raise ValueMistakeError((family, "at", key), why)
        return self

    @model_validator(mode="after")
    def _one_guard_holds_wheels_and_jaws(self) -> "Devices":
        """Refuse what would leave jaws to the runtime: the motor guard writes to one serial line, and to any pins."""
        drive, gripper = self.drive, self.gripper
        if gripper is None:
            return self
        if isinstance(gripper, CoProcessorGripperKeys):
            if isinstance(drive, HBridgeKeys) or drive.is_own:
                where = "has a driver of your own" if drive.is_own else "is on pins"
                why = f"{_ONE_LINE}, and the drive {where}; use 'servo_pins' here"
                raise ValueMistakeError(("gripper", "driver"), why)
            if isinstance(drive, CoProcessorDriveKeys) and gripper.link != drive.link:
                why = f"{_ONE_LINE}, and the drive is on '{drive.link}'; use it here"
                raise ValueMistakeError(("gripper", "link"), why)
        if set(motor_channels(drive)) & set(servo_channels(gripper)):
            raise ValueMistakeError(("gripper", "pwm_channel"), "a motor has this channel; the servo needs its own")
        return self

    @property
    def further(self) -> dict[str, DeviceKeys]:
        """The devices beside those that the families are named for."""
        return {name: device for name, device in (self.model_extra or {}).items() if device is not None}

    def fitted(self) -> dict[str, DeviceKeys]:
        """Return the devices the robot has, by name, in the order of the model; further ones as in the file."""
        pairs = ((family, getattr(self, family)) for family in type(self).model_fields)
        return {family: device for family, device in pairs if device is not None} | self.further

    def family_of(self, name: str) -> str:
        """Return the family of a device, or '' for one of none."""
        device = self.fitted()[name]
        return next((family for family, one in FAMILIES.items() if isinstance(device, one.keys)), "")

    def of_family(self, family: str) -> dict[str, Any]:
        """Return the devices of a family by name; the first is the one that is named for it, if the robot has that."""
        return {name: device for name, device in self.fitted().items() if self.family_of(name) == family}

    def signals(self, name: str) -> Mapping[str, DeviceSignal]:
        """Return what a device gives conditions to read, besides whether it is ok."""
        device = self.fitted()[name]
        return own_signals(device) if isinstance(device, OwnDeviceKeys) else FAMILIES[self.family_of(name)].signals


def reporting(devices: Devices) -> dict[str, DeviceKeys]:
    """Return by name the devices that report; of the others none can be missing."""

    def reports(name: str, device: DeviceKeys) -> bool:
        if isinstance(device, GripperKeys):
            return device.feedback != "none"
        return name not in FAMILIES or FAMILIES[name].reports

    return {name: device for name, device in devices.fitted().items() if reports(name, device)}
