"""The families of devices: adding one is a folder beside this file, and a line here."""

import typing
from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, ConfigDict, Discriminator, Field, Tag, model_validator

from rover.devices.battery.keys import BatteryKeys
from rover.devices.battery.signals import SIGNALS as BATTERY_SIGNALS
from rover.devices.camera.keys import CameraKeys
from rover.devices.camera.signals import SIGNALS as CAMERA_SIGNALS
from rover.devices.counts.keys import CountsKeys
from rover.devices.drive.keys import DriveKeys
from rover.devices.gripper.keys import GripperKeys
from rover.devices.heading.keys import HeadingKeys
from rover.devices.heading.signals import SIGNALS as HEADING_SIGNALS
from rover.devices.keys import DeviceKeys
from rover.devices.own import OwnDeviceKeys
from rover.devices.own import signals_of as own_signals
from rover.devices.range.keys import RangeKeys
from rover.devices.range.signals import SIGNALS as RANGE_SIGNALS
from rover.devices.signals import DeviceSignal
from rover.devices.stop_input.keys import StopInputKeys
from rover.files.problems import nearest
from rover.files.types import KeyMistakeError, Model, NameMistakeError, ValueMistakeError, why_no_name

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


SIGNALS: Mapping[str, Mapping[str, DeviceSignal]] = {
    "heading": HEADING_SIGNALS,
    "range": RANGE_SIGNALS,
    "camera": CAMERA_SIGNALS,
    "battery": BATTERY_SIGNALS,
}
"""What devices of a family give conditions to read; of the others, other parts of the core make something of it."""
TAKEN = (
    *("run", "pose", "target", "jaws", "objects", "slots", "field", "motion", "record", "operator", "settings", "zone"),
    *("link", "driver", "loop", "guard", "outputs", "drive_on", "devices"),
)
"""Names that no further device may have: conditions, faults and run records use them for something else."""


class FurtherRange(RangeKeys):
    """A further range finder."""

    family: Literal["range"]


class FurtherHeading(HeadingKeys):
    """A further heading sensor."""

    family: Literal["heading"]


class FurtherBattery(BatteryKeys):
    """A further battery monitor."""

    family: Literal["battery"]


class FurtherCamera(CameraKeys):
    """A further camera."""

    family: Literal["camera"]


REPEATED = {"range": FurtherRange, "heading": FurtherHeading, "battery": FurtherBattery, "camera": FurtherCamera}
"""Families of which a robot may have further devices: there is one drive, and stop switches are wired in series."""


def _model_of(given: object) -> str:
    """Return the tag of the model for a further device."""
    family = given.get("family") if isinstance(given, dict) else getattr(given, "family", None)
    return f"[{family}]" if isinstance(family, str) and family in REPEATED else "[own]"


def _declared(given: object) -> object:
    """Refuse what neither names a family nor declares signals."""
    if isinstance(given, dict) and "family" in given:
        family = str(given["family"])
        why = "a robot has one of these" if family in KEYS else "there is no such family of devices"
        raise ValueMistakeError(("family",), why + nearest(family, REPEATED))
    if isinstance(given, dict) and "signals" not in given:
        raise NameMistakeError("no device is called so; one of your own needs 'family:' or 'signals:'", KEYS)
    return given


Further = Annotated[
    Annotated[FurtherRange, Tag("[range]")]
    | Annotated[FurtherHeading, Tag("[heading]")]
    | Annotated[FurtherBattery, Tag("[battery]")]
    | Annotated[FurtherCamera, Tag("[camera]")]
    | Annotated[OwnDeviceKeys, BeforeValidator(_declared), Tag("[own]")],
    Discriminator(_model_of),
]
"""A device by a name of the person's choice: another of a family, or of none and declaring its signals."""


class Devices(Model):
    """The devices: those of the families by the family's name, and any further ones by names of the person's choice.

    The ones left out are absent.
    """

    model_config = ConfigDict(extra="allow")
    __pydantic_extra__: dict[str, Further] = Field(init=False)

    drive: DriveKeys
    counts: CountsKeys
    heading: HeadingKeys | None = None
    range: RangeKeys | None = None
    camera: CameraKeys | None = None
    gripper: GripperKeys | None = None
    battery: BatteryKeys | None = None
    stop_input: StopInputKeys | None = None

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
        drivers, links = (drive.driver, gripper.driver), (drive.link, gripper.link)
        if drivers[1] == "co_processor" and (drivers[0] == "h_bridge" or drive.is_own):
            where = "has a driver of your own" if drive.is_own else "is on pins"
            why = f"{_ONE_LINE}, and the drive {where}; use 'servo_pins' here"
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
        return name if name in KEYS else str(getattr(self.further[name], "family", ""))

    def of_family(self, family: str) -> dict[str, Any]:
        """Return the devices of a family by name; the first is the one that is named for it, if the robot has that."""
        return {name: device for name, device in self.fitted().items() if self.family_of(name) == family}

    def signals(self, name: str) -> Mapping[str, DeviceSignal]:
        """Return what a device gives conditions to read, besides whether it is ok."""
        device = self.fitted()[name]
        return own_signals(device) if isinstance(device, OwnDeviceKeys) else SIGNALS.get(self.family_of(name), {})


def _keys_in(annotation: object) -> type[DeviceKeys]:
    """Return the model in ``Model`` or ``Model | None``."""
    found: type[DeviceKeys] = (typing.get_args(annotation) or (annotation,))[0]
    return found


KEYS = {family: _keys_in(field.annotation) for family, field in Devices.model_fields.items()}
"""The model of what stands under a family's name."""
