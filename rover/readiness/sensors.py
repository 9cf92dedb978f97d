"""Findings about what the sensors say, out of the readings of a few seconds. Pure: asking and driving is `walk`'s."""

import math
from collections.abc import Sequence
from itertools import pairwise
from statistics import median
from typing import Any

from rover.devices.battery.keys import BatteryKeys
from rover.devices.camera.keys import CameraKeys
from rover.devices.gripper.keys import GripperKeys
from rover.devices.heading.keys import HeadingKeys
from rover.devices.keys import DeviceKeys
from rover.devices.range.keys import RangeKeys
from rover.devices.readings import HeadingValue
from rover.quantities import wrap
from rover.readiness.finding import Finding, judged
from rover.session.by_hand import TimedReading

ENOUGH_RATE = 0.8
"""A device that reports at this share of its rate is as expected."""
CALIBRATED = 2
QUARTER = math.pi / 2.0
QUARTER_WITHIN = math.radians(25.0)
"""A quarter turn by hand is no better than that."""
RULER_WITHIN_M, RULER_WITHIN_SHARE = 0.02, 0.03
EMPTY_SHARE, FULL_SHARE = 0.75, 1.05
FRAMES_LATE = 2.0
ENDS_WITHIN = 0.1
STALLS_AMPS = 0.3


def values_of(heard: Sequence[TimedReading], family: str) -> list[Any]:
    """Return the values of one family, oldest first."""
    return [each.reading.value for each in heard if each.family == family]


def rate_of(heard: Sequence[TimedReading], family: str) -> float:
    """Return how many reports a second (Hz) were taken, 0 for fewer than two."""
    taken = [each.reading.taken_ns for each in heard if each.family == family]
    return (len(taken) - 1) * 1e9 / (taken[-1] - taken[0]) if len(taken) > 1 and taken[-1] > taken[0] else 0.0


def lost_of(heard: Sequence[TimedReading], family: str) -> int:
    """Return how many reports of a family went missing, by their sequence numbers."""
    sequences = [each.reading.sequence for each in heard if each.family == family]
    return sum(later - earlier - 1 for earlier, later in pairwise(sequences))


def is_frequent(rate: float, device: DeviceKeys) -> bool:
    """Tell whether a device reports about as often as the robot file says."""
    return rate >= ENOUGH_RATE * device.rate


def heading_finding(heard: Sequence[TimedReading], heading: HeadingKeys) -> Finding:
    """Judge rate, losses and calibration of a heading sensor that stood still."""
    rate, lost = rate_of(heard, "heading"), lost_of(heard, "heading")
    values: list[HeadingValue] = values_of(heard, "heading")
    level = values[-1].calibration if values else None
    told = "none told" if level is None else f"{level} of 3"
    is_calibrated = level is None or level >= CALIBRATED
    measured = f"{rate:.1f} Hz, {lost} lost, calibration {told}"
    expected = f"{heading.rate:g} Hz, 0 lost, calibration {CALIBRATED} or 3"
    advice = [] if is_calibrated else ["turn the robot slowly through all directions until the calibration level rises"]
    if not is_frequent(rate, heading) or lost:
        advice.append("check the sensor's supply and wires and the link's 'baud:'; or write the true rate in 'rate:'")
    return judged("heading", bool(values) and not advice, measured, expected, *advice)


def turned_by(values: Sequence[HeadingValue]) -> float:
    """Return the angle (rad, counter-clockwise) that the headings turned through, over more than a turn too."""
    return sum(wrap(later.angle - earlier.angle) for earlier, later in pairwise(values))


def turn_finding(turned: float) -> Finding:
    """Judge what the heading made of a quarter turn to the left by hand."""
    measured, expected = f"{math.degrees(turned):+.0f} deg", "+90 deg (to the left, counter-clockwise)"
    if abs(turned + QUARTER) <= QUARTER_WITHIN:
        return judged(
            *("turn", False, measured, expected),
            "the heading turns the wrong way: is the sensor upside down? Its sentences are compass headings, "
            "which grow clockwise; correct the sign on the board that sends them",
        )
    return judged(
        *("turn", abs(turned - QUARTER) <= QUARTER_WITHIN, measured, expected),
        "repeat it: rover bring-up ROBOT --only turn; one that stays behind is not calibrated, or near steel",
    )


def range_finding(heard: Sequence[TimedReading], finder: RangeKeys, ruler_m: float | None) -> Finding:
    """Judge the range finder, against a ruler where the person gave a distance (m from the sensor's face)."""
    rate = rate_of(heard, "range")
    distances = [value.distance for value in values_of(heard, "range")]
    echoes = [distance for distance in distances if distance is not None]
    middle = median(echoes) if 2 * len(echoes) > len(distances) else None
    told = "no echo" if middle is None else f"{middle:.3f} m"
    measured = f"{told}, {rate:.1f} Hz, {len(distances) - len(echoes)} of {len(distances)} without echo"
    if ruler_m is None:
        return judged("range", is_frequent(rate, finder), measured, f"{finder.rate:g} Hz", _RANGE_ADVICE)
    within = max(RULER_WITHIN_M, RULER_WITHIN_SHARE * ruler_m)
    fits = is_frequent(rate, finder) and middle is not None and abs(middle - ruler_m) <= within
    expected = f"{ruler_m:.3f} m within {within:.3f} m, {finder.rate:g} Hz"
    advice = "measure from the sensor's face; a steady share too much or too little is 'temperature:' in the robot file"
    return judged("range", fits, measured, expected, advice, _RANGE_ADVICE)


_RANGE_ADVICE = (
    "check trigger, echo and ground, and the level shifter on the echo; use a flat, hard surface square to the sensor"
)


def camera_finding(heard: Sequence[TimedReading], camera: CameraKeys) -> Finding:
    """Judge how many frames come and how old they are when they do."""
    rate = rate_of(heard, "camera")
    ages = [(each.at_ns - each.reading.taken_ns) / 1e9 for each in heard if each.family == "camera"]
    age = median(ages) if ages else math.inf
    most = camera.latency + FRAMES_LATE / camera.rate
    measured = f"{rate:.1f} frames a second, {age * 1e3:.0f} ms old" if ages else "no frame"
    return judged(
        *("camera", is_frequent(rate, camera) and age <= most, measured),
        f"{camera.rate:g} frames a second, at most {most * 1e3:.0f} ms old",
        "give it more light (long exposures cost frames) or set 'exposure:'; use a smaller 'frame_width:', "
        "'frame_height:' or 'rate:'; another port of the computer; then calibrate 'latency:'",
    )


def battery_finding(heard: Sequence[TimedReading], battery: BatteryKeys) -> Finding:
    """Judge the voltage at rest."""
    values = values_of(heard, "battery")
    low, high = EMPTY_SHARE * battery.full, FULL_SHARE * battery.full
    volts = values[-1].volts if values else math.nan
    return judged(
        *(
            "battery",
            low <= volts <= high,
            f"{volts:.2f} V" if values else "no reading",
            f"{low:.1f} V to {high:.1f} V",
        ),
        "charge the battery; measure it with a meter: if that reads otherwise, correct 'divider:' or 'scale:', "
        "and see that 'full:' is your battery's full voltage",
    )


def opening_of(heard: Sequence[TimedReading]) -> float | None:
    """Return the last jaw opening (0 to 1) that was told, if one was."""
    told = [value.opening for value in values_of(heard, "gripper") if value.opening is not None]
    return told[-1] if told else None


def amps_of(heard: Sequence[TimedReading]) -> float | None:
    """Return the last current (A) that the battery monitor told, if it measures one."""
    told = [value.amps for value in values_of(heard, "battery") if value.amps is not None]
    return told[-1] if told else None


def end_fits(wanted: float, opening: float | None, amps: float | None, is_quiet: bool | None) -> bool | None:
    """Tell whether the jaws came to an end without stalling; None: nothing told.

    Args:
        wanted: opening, 0 or 1.
        opening: what the jaws report.
        amps: current (A) above that at rest, while they stand there.
        is_quiet: what the person hears.
    """
    signs = [
        None if opening is None else abs(opening - wanted) <= ENDS_WITHIN,
        None if amps is None else amps < STALLS_AMPS,
        is_quiet,
    ]
    known = [sign for sign in signs if sign is not None]
    return all(known) if known else None


def pulled_in(gripper: GripperKeys, wanted: float) -> str:
    """Return the pulse width (us) for an end, a twentieth of the span less far out, as in the robot file."""
    inwards = (gripper.closed - gripper.open) * 0.05
    pulse = gripper.open + inwards if wanted else gripper.closed - inwards
    return f"{pulse * 1e6:.0f} us"
