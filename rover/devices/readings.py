"""What devices report and what they are commanded: plain values, each with the time it was taken.

The value types stand with their families; all of them can be imported from here.

Named tuples rather than frozen dataclasses: immutable all the same, and made in a third of the time, which
counts where thousands are made for each second of rehearsal.
"""

from typing import Any, NamedTuple

from rover.devices.battery.values import BatteryValue as BatteryValue
from rover.devices.camera.values import MARKER as MARKER
from rover.devices.camera.values import Detection as Detection
from rover.devices.camera.values import Detections as Detections
from rover.devices.camera.values import Frame as Frame
from rover.devices.counts.values import WheelCounts as WheelCounts
from rover.devices.drive.values import DriveCommand as DriveCommand
from rover.devices.gripper.values import JawsCommand as JawsCommand
from rover.devices.gripper.values import JawsValue as JawsValue
from rover.devices.heading.values import HeadingValue as HeadingValue
from rover.devices.outputs.values import OutputCommand as OutputCommand
from rover.devices.range.values import RangeValue as RangeValue
from rover.devices.stop_input.values import StopInputValue as StopInputValue


class Reading(NamedTuple):
    """One report of one device.

    Attributes:
        taken_ns: when the value was true, in the host's monotonic nanoseconds (not when it arrived).
        sequence: counts up by one for each report of this device; a gap tells that reports were lost.
        value: one of the family's value types, or a `Fault`.
    """

    taken_ns: int
    sequence: int
    value: Any


class Fault(NamedTuple):
    """Instead of a device's own value: the device answers, and this is what is wrong, in words for a person."""

    why: str
