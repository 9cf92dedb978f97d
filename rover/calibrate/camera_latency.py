"""The camera's latency: turned in place to and fro before one marker, what it sees follows the heading, later.

A wrong latency in the robot file shows while the robot turns: at 60 deg/s, 50 ms are 3 deg of bearing. What counts is
when a frame was taken by the clock of the heading reports, and that is what is found here.
"""

import math
from typing import NamedTuple

import numpy as np

from rover.calibrate.apparatus import Assistant, Drivetrain, needed
from rover.calibrate.drive import geometry_of
from rover.calibrate.findings import CalibrationError, Findings, Plot, Series, changed
from rover.calibrate.pilot import REST_S, Pilot
from rover.calibrate.runs import Array, CalibrationRun, headings_of
from rover.devices.readings import MARKER
from rover.files.robot import Robot

SOONEST, LATEST, STEP = -0.3, 0.5, 0.002
"""So far (s) from where the robot file has it the latency is looked for, and how finely."""
RATE_OVER = 0.1
"""The turn rate is taken over so long before and after (s): over less, the sensor's noise would look like turning."""
SMOOTHING = (1.0 / 9.0, 2.0 / 9.0, 3.0 / 9.0, 2.0 / 9.0, 1.0 / 9.0)
"""Weights over successive headings: unsmoothed, their noise is less half-way between two, and draws the answer."""
LEAST_SIGHTINGS = 30
MOST_SIGMA = 0.01
"""A result less sure than this (s) is none: the robot did not change its turn rate enough."""

SWINGS = (20.0, -40.0, 40.0, -40.0, 40.0, -40.0, 40.0, -20.0)
"""Turns on the spot (deg), the marker in sight all the while."""


class Latency(NamedTuple):
    """By how much frames are older than was thought (s), its standard deviation, and the bearings' residual (rad)."""

    late: float
    sigma: float
    residual: float


def measure(drivetrain: Drivetrain, assistant: Assistant, robot: Robot) -> CalibrationRun:
    """Let the robot turn to and fro before the tray's marker; return all that it reported meanwhile.

    Raises:
        CalibrationError: it has no camera, or does not turn.
    """
    needed(robot.devices.camera, "camera", "camera")
    assistant.ready("put the tray's marker 1 to 2 m straight ahead of the robot, and give it room to turn on the spot")
    pilot = Pilot(drivetrain, robot, geometry_of(robot))
    pilot.rest(REST_S)
    return CalibrationRun([reading for angle in SWINGS for reading in pilot.spin(math.radians(angle)).readings])


def latency_of(headings: tuple[Array, Array], bearings: tuple[Array, Array]) -> Latency:
    """Return how late bearings of one marker are against the headings of a robot that turns in place.

    The bearing is fitted as ``a + b * heading`` of so much earlier, for each of many times: ``b`` is -1 but for the way
    that a camera off the robot's middle travels. The time with the least squares is the answer, between the steps by
    the parabola through the least and its neighbours.

    Args:
        headings: (s, rad), turns counted on.
        bearings: (s, rad) of frames in which the marker was seen.

    Raises:
        CalibrationError: the marker was seen too seldom, or the robot did not turn to and fro.
    """
    if len(bearings[0]) < LEAST_SIGHTINGS:
        raise CalibrationError(
            f"the marker was seen in {len(bearings[0])} frames; {LEAST_SIGHTINGS} are due: put it 1 to 2 m ahead"
        )
    seconds, angles = (np.convolve(values, SMOOTHING, "valid") for values in headings)
    headings = (seconds, angles)
    times = np.arange(SOONEST, LATEST + STEP / 2.0, STEP)
    squares = np.array([_fit(headings, bearings, late)[0] for late in times])
    at = int(np.argmin(squares))
    if at in (0, len(times) - 1):
        raise CalibrationError("no latency makes the bearings follow the heading; was it one marker that stood still?")
    before, least, after = squares[at - 1 : at + 2]
    late = float(times[at] + 0.5 * STEP * (before - after) / (before - 2.0 * least + after))
    _, residual, sigma = _fit(headings, bearings, late)
    if not sigma <= MOST_SIGMA:
        raise CalibrationError("at an even rate lateness cannot be told; turn to and fro by 20 deg, and quickly")
    return Latency(late, sigma, residual)


def _fit(headings: tuple[Array, Array], bearings: tuple[Array, Array], late: float) -> tuple[float, float, float]:
    """Return (sum of squares, residual in rad, sigma of the time in s) of the bearings with one lateness."""
    seconds, seen = bearings
    heading, soon, past = (np.interp(seconds - late + off, *headings) for off in (0.0, RATE_OVER, -RATE_OVER))
    straight = np.column_stack([np.ones(len(seen)), heading])
    found = np.linalg.lstsq(straight, seen, rcond=None)[0]
    square = float(np.sum((seen - straight @ found) ** 2))
    # What of the bearing's rate is no straight line of the heading: it alone tells the time.
    rate = found[1] * (soon - past) / (2.0 * RATE_OVER)
    telling = float(np.linalg.norm(rate - straight @ np.linalg.lstsq(straight, rate, rcond=None)[0]))
    residual = math.sqrt(square / (len(seen) - 3))
    return square, residual, residual / telling if telling > 0.0 else math.inf


def findings(run: CalibrationRun, robot: Robot) -> Findings:
    """Return what turning to and fro before the tray's marker says about a robot file's ``latency``.

    Args:
        run: its readings of heading and camera; with frames stamped by the file's latency.
        robot: of the file.

    Raises:
        CalibrationError: the robot has no camera, or what was measured cannot be used.
    """
    camera = needed(robot.devices.camera, "camera", "camera")
    headings, bearings = headings_of(run), _bearings_of(run)
    found = latency_of(headings, bearings)
    latency = camera.latency if abs(found.late) < 2.0 * found.sigma else max(0.0, camera.latency + found.late)
    lines = (
        f"{len(bearings[0])} bearings: frames are {found.late * 1e3:+.0f} ms +- {found.sigma * 1e3:.0f} ms older than "
        f"the file has it (one sigma); residual {math.degrees(found.residual):.2f} deg",
    )
    seconds, angles = headings
    plot = Plot(
        "Turning in place before the marker",
        "time (s)",
        "angle (deg)",
        (
            Series("heading, turned about", list(seconds), list(-np.degrees(angles - np.mean(angles))), marks=False),
            Series("bearing, as stamped", list(bearings[0]), list(np.degrees(bearings[1] - np.mean(bearings[1])))),
        ),
    )
    changes = changed("devices.camera.latency", camera.latency, latency, _milliseconds)
    return Findings(changes, lines, (plot,), found._asdict())


def _bearings_of(run: CalibrationRun) -> tuple[Array, Array]:
    """Return (s, rad) of the marker in the frames that show it."""
    seen = [
        (reading.taken_ns * 1e-9, one.bearing)
        for reading in run.of("camera")
        for one in reading.value.objects
        if one.kind == MARKER
    ]
    return np.array([second for second, _ in seen]), np.array([bearing for _, bearing in seen])


def _milliseconds(time: float) -> str:
    return f"{round(time * 1e3)} ms"
