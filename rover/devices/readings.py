"""What devices report and what they are told: plain values, each with the time it was taken.

Named tuples rather than frozen dataclasses: immutable all the same, and made in a third of the time, which
counts where thousands are made for each second of rehearsal.
"""

from typing import Any, NamedTuple


class Reading(NamedTuple):
    """One report of one device.

    Attributes:
        taken_ns: when the value was true, in the host's monotonic nanoseconds (not when it arrived).
        sequence: counts up by one for each report of this device; a gap tells that reports were lost.
        value: one of the value types below, according to the device.
    """

    taken_ns: int
    sequence: int
    value: Any


class Fault(NamedTuple):
    """Instead of a device's own value: the device answers, and this is what is wrong, in words for a person."""

    why: str


class WheelCounts(NamedTuple):
    """Cumulative encoder counts since the device's boot; forwards is positive. ``boot`` changes when it restarts."""

    left: int
    right: int
    boot: int = 0


class HeadingValue(NamedTuple):
    """Absolute orientation: rad and rad/s, counter-clockwise positive; calibration from 0 (none) to 3 (full)."""

    angle: float
    rate: float | None = None
    calibration: int | None = None


class RangeValue(NamedTuple):
    """Distance in metres from the sensor's face; ``None`` means that no echo came back."""

    distance: float | None


MARKER = "marker"
"""Kind of a detection of the tray's marker, whose place is known: no object of the errand is called so."""


class Detection(NamedTuple):
    """One object in one frame, seen from the camera.

    Attributes:
        kind: name of the kind in the errand file.
        bearing: rad from the camera's axis, counter-clockwise positive.
        distance: metres along the ground from the camera to the object's middle.
        bearing_sigma, distance_sigma: standard deviations of the two (rad, m).
        size: apparent width as a share of the frame's width.
    """

    kind: str
    bearing: float
    distance: float
    bearing_sigma: float
    distance_sigma: float
    size: float


class Detections(NamedTuple):
    """All objects in one frame; an empty tuple is a frame in which nothing was found."""

    objects: tuple[Detection, ...]


class Frame(NamedTuple):
    """One picture of the camera: rows of pixels, each blue, green, red (8 bit), and its size in pixels."""

    image: Any
    width: int
    height: int


class BatteryValue(NamedTuple):
    """Terminal voltage (V) and, where it is measured, current drawn (A)."""

    volts: float
    amps: float | None = None


class JawsValue(NamedTuple):
    """Jaw opening from 0 (closed) to 1 (open), and whether they closed on something; None where it is not told."""

    opening: float | None = None
    holding: bool | None = None


class StopInputValue(NamedTuple):
    """The hard-wired stop input, normally closed: ``closed`` False means stop."""

    closed: bool


class DriveCommand(NamedTuple):
    """Duty of the two motor channels, -1 to 1, forwards positive. Not valid after ``expires_ns``: then zero."""

    left: float
    right: float
    sequence: int
    expires_ns: int


class JawsCommand(NamedTuple):
    """Wanted jaw opening, 0 (closed) to 1 (open); None lets the servo go limp. Not valid after ``expires_ns``."""

    opening: float | None
    sequence: int
    expires_ns: int
