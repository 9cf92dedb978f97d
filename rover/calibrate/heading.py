"""The heading sensor at rest and in a quarter turn: offset, direction, noise and drift."""

import math
from typing import NamedTuple

import numpy as np

from rover.calibrate.apparatus import Assistant, Drivetrain, needed
from rover.calibrate.drive import geometry_of
from rover.calibrate.findings import CalibrationError, Findings, Plot, Series, changed, in_degrees
from rover.calibrate.pilot import REST_S, Pilot
from rover.calibrate.runs import Array, CalibrationRun, headings_of, turned
from rover.files.robot import Robot
from rover.quantities import wrap

AT_REST_S = 60.0
LEAST_SIGMA = math.radians(0.2)
"""A sensor that reports in steps looks without noise at rest; the filter must not believe that."""
_LEAST_TURN = math.radians(20.0)


class RestMeasurement(NamedTuple):
    """A rest in a known heading: reports (s from the start, rad), and the true heading (rad)."""

    seconds: Array
    angles: Array
    true: float


def measure(drivetrain: Drivetrain, assistant: Assistant, robot: Robot) -> RestMeasurement:
    """Let the robot stand in a known heading, then turn it left by a quarter and see that all agree on that.

    Raises:
        CalibrationError: there is no sensor, it is silent, or it or the wheels have the wrong direction.
    """
    needed(robot.devices.heading, "heading sensor", "heading")
    assistant.ready("put the robot down in a heading that you know, where it will work; nothing of iron close by")
    true = assistant.true_heading()
    pilot = Pilot(drivetrain, robot, geometry_of(robot))
    seconds, angles = headings_of(pilot.rest(AT_REST_S))
    assistant.ready("give it room: it turns on the spot by about a quarter turn to the left")
    check_direction(pilot.turn_by_wheels(math.pi / 2.0), assistant.turned_left())
    return RestMeasurement(seconds - seconds[0], angles, true)


def check_direction(run: CalibrationRun, went_left: bool) -> None:
    """Raise unless a turn that was commanded to the left went left and the sensor counts that as positive.

    Raises:
        CalibrationError: wheels or sensor the wrong way, or a sensor that does not move.
    """
    if not went_left:
        raise CalibrationError(
            "told to turn left, the robot turned right: set 'swap_sides' under 'devices: drive:' and 'counts:'"
        )
    angle = turned(run, REST_S)
    if abs(angle) < _LEAST_TURN:
        raise CalibrationError(
            f"in a quarter turn the heading changed by {math.degrees(angle):.1f} deg only: does the sensor report "
            "afresh, and does the robot turn?"
        )
    if angle < 0.0:
        raise CalibrationError(
            "the heading falls when the robot turns left: the sensor is mounted upside down, or sends headings that "
            "are clockwise where its driver takes them as counter-clockwise"
        )


def findings(rest: RestMeasurement, robot: Robot) -> Findings:
    """Return what a rest says about a robot file: ``offset`` and ``sigma``, and the drift to be told.

    Raises:
        CalibrationError: there are too few reports.
    """
    sensor = needed(robot.devices.heading, "heading sensor", "heading")
    if len(rest.seconds) < 20:
        raise CalibrationError(f"{len(rest.seconds)} headings came in only; 20 or more are due")
    slope, start = np.polyfit(rest.seconds, rest.angles, 1)
    residuals = rest.angles - (start + slope * rest.seconds)
    noise = float(np.std(residuals, ddof=2))
    slope_sigma = noise / math.sqrt(float(np.sum((rest.seconds - np.mean(rest.seconds)) ** 2)))
    mean, mean_sigma = float(np.mean(rest.angles)), noise / math.sqrt(len(residuals))
    off = wrap(rest.true - mean)
    offset, sigma = wrap(sensor.offset + off), max(noise, LEAST_SIGMA)
    lines = (
        f"{len(rest.seconds)} headings in {rest.seconds[-1]:.0f} s: mean {in_degrees(wrap(mean))}, "
        f"true {in_degrees(wrap(rest.true))}, off by {in_degrees(-off)} +- {in_degrees(mean_sigma)}",
        f"noise of one report {in_degrees(noise)}; drift at rest {in_degrees(slope * 60.0)} a minute "
        f"+- {in_degrees(slope_sigma * 60.0)}",
        "direction: counter-clockwise positive, as it must be",
        "what iron near by does differs from place to place: see 'heading_error' in the errand file",
    )
    changes = (
        *changed("devices.heading.offset", sensor.offset, offset, in_degrees),
        *changed("devices.heading.sigma", sensor.sigma, sigma, in_degrees),
    )
    errors = [math.degrees(wrap(angle - rest.true)) for angle in rest.angles]
    trend = [math.degrees(wrap(start + slope * second - rest.true)) for second in rest.seconds]
    plot = Plot(
        "Heading at rest less true heading, file as it was",
        "time (s)",
        "error (deg)",
        (Series("reports", list(rest.seconds), errors), Series("drift", list(rest.seconds), trend, marks=False)),
    )
    data = {
        "true_rad": rest.true,
        "mean_rad": mean,
        "noise_rad": noise,
        "drift_rad_per_s": float(slope),
        "reports": len(rest.seconds),
    }
    return Findings(changes, lines, (plot,), data)
