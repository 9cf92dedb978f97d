"""What readings of a few seconds are judged to be."""

import math

import pytest

from rover.devices.readings import HeadingValue, RangeValue, Reading
from rover.files.robot import Devices
from rover.readiness import sensors
from rover.readiness.finding import Verdict
from rover.session.by_hand import TimedReading

FINE, ODD = Verdict.AS_EXPECTED, Verdict.OTHERWISE


def readings(family: str, values: list[object], every_s: float = 0.1, late_s: float = 0.0) -> list[TimedReading]:
    """Return readings at a steady rate, taken over so much later."""
    stamps = [round(number * every_s * 1e9) for number in range(len(values))]
    return [
        TimedReading(stamp + round(late_s * 1e9), family, Reading(stamp, number, value))
        for number, (stamp, value) in enumerate(zip(stamps, values, strict=True))
    ]


def robot_with_more(family: str, **keys: str):
    """Return the devices of a robot that has one more."""
    devices = {"drive": {"driver": "scripted"}, "counts": {"driver": "scripted"}}
    return Devices.model_validate({**devices, family: {"driver": "scripted", **keys}})


@pytest.mark.parametrize(
    ("degrees", "verdict"),
    [(90, "as expected"), (78, "as expected"), (-90, "not as expected"), (10, "not as expected")],
)
def test_a_quarter_turn_to_the_left_is_ninety_degrees_more(degrees, verdict):
    steps = [HeadingValue(math.radians(170 + degrees * part / 10)) for part in range(11)]
    steps = [HeadingValue(sensors.wrap(value.angle)) for value in steps]
    finding = sensors.turn_finding(sensors.turned_by(steps))
    assert finding.verdict.value == verdict
    assert ("wrong way" in "".join(finding.advice)) == (degrees == -90)


def test_a_heading_that_did_not_move_at_all_may_be_an_emulators():
    finding = sensors.turn_finding(0.0)
    assert finding.verdict is ODD
    assert "with rover emulate this must fail" in finding.advice[0]


def test_a_heading_that_is_not_calibrated_or_loses_reports_is_told():
    heading = robot_with_more("heading", rate="10 Hz").heading
    assert sensors.heading_finding(readings("heading", [HeadingValue(0.1, 0.0, 3)] * 20), heading).verdict is FINE
    low = sensors.heading_finding(readings("heading", [HeadingValue(0.1, 0.0, 1)] * 20), heading)
    assert (low.verdict, "calibration 1 of 3" in low.measured) == (ODD, True)
    gap = readings("heading", [HeadingValue(0.1, 0.0, 3)] * 20)
    del gap[5]
    assert "1 lost" in sensors.heading_finding(gap, heading).measured
    slow = readings("heading", [HeadingValue(0.1, 0.0, 3)] * 20, every_s=0.2)
    assert sensors.heading_finding(slow, heading).verdict is ODD


def test_the_range_is_held_against_the_ruler():
    finder = robot_with_more("range", rate="10 Hz").range
    echoes = readings("range", [RangeValue(0.51)] * 12 + [RangeValue(None)] * 3)
    assert sensors.range_finding(echoes, finder, 0.50).verdict is FINE
    assert sensors.range_finding(echoes, finder, 0.45).verdict is ODD
    silence = sensors.range_finding(readings("range", [RangeValue(None)] * 15), finder, 0.50)
    assert (silence.verdict, silence.measured[:7]) == (ODD, "no echo")


def test_frames_that_come_late_or_seldom_are_told():
    camera = robot_with_more("camera", rate="10 Hz", latency="80 ms").camera
    assert sensors.camera_finding(readings("camera", [None] * 20, late_s=0.1), camera).verdict is FINE
    late = sensors.camera_finding(readings("camera", [None] * 20, late_s=0.4), camera)
    assert (late.verdict, late.measured) == (ODD, "10.0 frames a second, 400 ms old")
    assert sensors.camera_finding(readings("camera", [None] * 20, every_s=0.3), camera).verdict is ODD
    assert sensors.camera_finding([], camera).measured == "no frame"
