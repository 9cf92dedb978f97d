"""What there is to know of a family of devices, besides how its drivers work."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, NamedTuple

from rover.devices.keys import DeviceKeys
from rover.devices.signals import DeviceSignal


class Family(NamedTuple):
    """One family of devices.

    Attributes:
        keys: the model of what stands under a device of the family in the robot file; it knows the built-in drivers.
        value: the type of what its devices report, or, where they do not, of what they are commanded.
        is_guarded: the built-in drivers are at work in the motor guard, so there are no modules for them.
        signals: what each device of the family gives conditions to read, besides whether it is ok; of other families,
            other parts of the core make something of what they report.
        may_be_several: a robot may have further ones; there is one drive, and stop switches are wired in series.
        faults: what a bench file's ``faults`` may do to the device.
        reports: its devices report, be it only some of them; else they are only commanded.
        without: how the robot goes on while the device is missing, as in the robot file's ``limits: {without: ...}``.
    """

    keys: type[DeviceKeys]
    value: type[Any]
    is_guarded: bool = False
    reports: bool = True
    signals: Mapping[str, DeviceSignal] = MappingProxyType({})
    may_be_several: bool = False
    faults: tuple[str, ...] = ("silent",)
    without: str = "freely"
