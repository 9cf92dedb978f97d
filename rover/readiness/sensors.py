"""The checks of links and sensors: first what a person is asked for, then how readings of a few seconds are judged."""

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from itertools import pairwise
from statistics import median
from typing import Any

from rover.devices.battery.keys import BatteryKeys
from rover.devices.camera.keys import CameraKeys
from rover.devices.heading.keys import HeadingKeys
from rover.devices.keys import DeviceKeys
from rover.devices.range.keys import RangeKeys
from rover.devices.readings import HeadingValue
from rover.quantities import LENGTH, wrap
from rover.readiness.finding import Finding, Verdict, judged, not_tried
from rover.readiness.stand import REST_S, RobotOnStand
from rover.session.by_hand import TimedReading, step_held

ENOUGH_RATE = 0.8
"""A device that reports at this share of its rate is as expected."""
CALIBRATED = 2
QUARTER = math.pi / 2.0
QUARTER_WITHIN = math.radians(25.0)
"""A quarter turn by hand is no better than that."""
RULER_WITHIN_M, RULER_WITHIN_SHARE = 0.02, 0.03
EMPTY_SHARE, FULL_SHARE = 0.75, 1.05
FRAMES_LATE = 2.0
TURN_EXPECTED = "+90 deg (to the left, counter-clockwise)"


def check_link(stand: RobotOnStand) -> Finding:
    """Look at the serial links: do whole sentences come, and who sends them?"""
    counts, links = stand.at_rest.lines, stand.session.devices.links.values()
    heard = [f"{name}: {lines / REST_S:.0f} lines a second, {bad} damaged" for name, (lines, bad) in counts.items()]
    heard += [link.identity.firmware for link in links if link.identity is not None]
    return judged(
        *("link", all(lines > 0 and bad == 0 for lines, bad in counts.values())),
        *("; ".join(heard), "lines on every link, 0 damaged"),
        "check ground and wires and keep them away from the motors'; 'baud:' as in the board's firmware",
    )


def at_rest(family: str, judge: Callable[[Sequence[TimedReading], Any], Finding]) -> Callable[[RobotOnStand], Finding]:
    """Return the check of a device by its readings at rest, which ``judge`` takes with its keys of the robot file."""
    return lambda stand: judge(stand.at_rest.readings, getattr(stand.robot.devices, family))


def check_camera(stand: RobotOnStand) -> Finding:
    """Look at the camera's frames."""
    finding = at_rest("camera", camera_finding)(stand)
    trouble = stand.session.devices.drivers.trouble("camera")
    return replace(finding, verdict=Verdict.OTHERWISE, mistakes=(trouble,)) if trouble else finding


def check_turn(stand: RobotOnStand) -> Finding:
    """Have the robot turned by hand, a quarter turn to the left."""
    if stand.person is None:
        why = "somebody has to turn the robot by hand"
        return not_tried("turn", why, TURN_EXPECTED, "leave --json and --yes-to-all out")
    readings: list[TimedReading] = stand.session.watch(0.2)
    question = "Turn the robot by hand a quarter turn to the left, seen from above; then press Enter."
    stand.person.ask(question, lambda: readings.extend(step_held(stand.session)))
    readings += stand.session.watch(0.3)
    values = values_of(readings, "heading")
    return turn_finding(turned_by(values)) if values else judged("turn", False, "it says nothing", TURN_EXPECTED)


def check_range(stand: RobotOnStand) -> Finding:
    """Hold the range finder against a ruler."""
    assert stand.robot.devices.range is not None
    if stand.person is None:
        return range_finding(stand.at_rest.readings, stand.robot.devices.range, None)
    question = "Put a box before the range finder. How far is it from the sensor's face by the ruler, such as 50 cm?"
    ruler_m = stand.person.quantity(question, LENGTH, meanwhile=partial(step_held, stand.session))
    return range_finding(stand.session.watch(REST_S), stand.robot.devices.range, ruler_m)


def values_of(readings: Sequence[TimedReading], family: str) -> list[Any]:
    """Return the values of one family, oldest first."""
    return [each.reading.value for each in readings if each.family == family]


def rate_of(readings: Sequence[TimedReading], family: str) -> float:
    """Return how many reports a second (Hz) were taken, 0 for fewer than two."""
    taken = [each.reading.taken_ns for each in readings if each.family == family]
    return (len(taken) - 1) * 1e9 / (taken[-1] - taken[0]) if len(taken) > 1 and taken[-1] > taken[0] else 0.0


def lost_of(readings: Sequence[TimedReading], family: str) -> int:
    """Return how many reports of a family went missing, by their sequence numbers."""
    sequences = [each.reading.sequence for each in readings if each.family == family]
    return sum(later - earlier - 1 for earlier, later in pairwise(sequences))


def is_frequent(rate: float, device: DeviceKeys) -> bool:
    """Tell whether a device reports about as often as the robot file says."""
    return rate >= ENOUGH_RATE * device.rate


def heading_finding(readings: Sequence[TimedReading], heading: HeadingKeys) -> Finding:
    """Judge rate, losses and calibration of a heading sensor that stood still."""
    rate, lost = rate_of(readings, "heading"), lost_of(readings, "heading")
    values: list[HeadingValue] = values_of(readings, "heading")
    level = values[-1].calibration if values else None
    is_calibrated = level is None or level >= CALIBRATED
    calibration = "none told" if level is None else f"{level} of 3"
    measured = f"{rate:.1f} Hz, {lost} lost, calibration {calibration}"
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
    measured = f"{math.degrees(turned):+.0f} deg"
    if abs(turned + QUARTER) <= QUARTER_WITHIN:
        return judged(
            *("turn", False, measured, TURN_EXPECTED),
            "the heading turns the wrong way: is the sensor upside down? Its sentences are compass headings, "
            "which grow clockwise; correct the sign on the board that sends them",
        )
    return judged(
        *("turn", abs(turned - QUARTER) <= QUARTER_WITHIN, measured, TURN_EXPECTED),
        *(["nobody can turn an emulated robot by hand: with rover emulate this must fail"] if turned == 0.0 else []),
        "repeat it: rover bring-up ROBOT --only turn; one that stays behind is not calibrated, or near steel",
    )


def range_finding(readings: Sequence[TimedReading], finder: RangeKeys, ruler_m: float | None) -> Finding:
    """Judge the range finder, against a ruler where the person gave a distance (m from the sensor's face)."""
    rate = rate_of(readings, "range")
    distances = [value.distance for value in values_of(readings, "range")]
    echoes = [distance for distance in distances if distance is not None]
    middle = median(echoes) if 2 * len(echoes) > len(distances) else None
    distance = "no echo" if middle is None else f"{middle:.3f} m"
    measured = f"{distance}, {rate:.1f} Hz, {len(distances) - len(echoes)} of {len(distances)} without echo"
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


def camera_finding(readings: Sequence[TimedReading], camera: CameraKeys) -> Finding:
    """Judge how many frames come and how old they are when they do."""
    rate = rate_of(readings, "camera")
    ages = [(each.at_ns - each.reading.taken_ns) / 1e9 for each in readings if each.family == "camera"]
    age = median(ages) if ages else math.inf
    most = camera.latency + FRAMES_LATE / camera.rate
    measured = f"{rate:.1f} frames a second, {age * 1e3:.0f} ms old" if ages else "no frame"
    return judged(
        *("camera", is_frequent(rate, camera) and age <= most, measured),
        f"{camera.rate:g} frames a second, at most {most * 1e3:.0f} ms old",
        "give it more light (long exposures cost frames) or set 'exposure:'; use a smaller 'frame_width:', "
        "'frame_height:' or 'rate:'; another port of the computer; then calibrate 'latency:'",
    )


def battery_finding(readings: Sequence[TimedReading], battery: BatteryKeys) -> Finding:
    """Judge the voltage at rest."""
    values = values_of(readings, "battery")
    low, high = EMPTY_SHARE * battery.full, FULL_SHARE * battery.full
    volts = values[-1].volts if values else math.nan
    return judged(
        *("battery", low <= volts <= high, f"{volts:.2f} V" if values else "no reading"),
        f"{low:.1f} V to {high:.1f} V",
        "charge the battery; measure it with a meter: if that reads otherwise, correct 'divider:' or 'scale:', "
        "and see that 'full:' is your battery's full voltage",
    )


def amps_of(readings: Sequence[TimedReading]) -> float | None:
    """Return the last current (A) that the battery monitor reported, if it measures one."""
    amps = [value.amps for value in values_of(readings, "battery") if value.amps is not None]
    return amps[-1] if amps else None
