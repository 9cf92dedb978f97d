"""The point about which the base turns, from half turns on the spot: the middle moves by twice the way to it. Pure."""

import cmath
import math
from collections.abc import Sequence
from typing import NamedTuple

from rover.calibrate.findings import ValueChange, changed
from rover.calibrate.runs import Geometry, WheelCountSeries, path
from rover.files.robot import Robot
from rover.geometry import XY


class HalfTurnRun(NamedTuple):
    """Half a turn on the spot: its angle (rad) by the heading sensor, and the middle's place then (m ahead, m left)."""

    counts: WheelCountSeries
    angle: float
    x: float
    y: float
    slipped: bool = False


def turn_centre(half_turns: Sequence[HalfTurnRun], geometry: Geometry) -> XY:
    """Return how far ahead of the middle and to its left (m) the point lies about which the base turns.

    It goes along the odometry's path p, and the middle, c away, goes round it: a turn by an angle a moves the middle by
    p + c - R(a) c. The mean of what the runs give.
    """
    centres = []
    for run in half_turns:
        x, y, _ = path(run.counts, geometry)
        moved = complex(run.x - float(x[-1]), run.y - float(y[-1]))
        centres.append(moved / (1.0 - cmath.rect(1.0, run.angle)))
    mean = sum(centres) / len(centres)
    return mean.real, mean.imag


def centre_lines(half_turns: Sequence[HalfTurnRun], geometry: Geometry) -> tuple[str, ...]:
    """Return what the half turns say, for a person."""
    if not half_turns:
        return ()
    ahead, left = turn_centre(half_turns, geometry)
    spread = max(math.dist(turn_centre([one], geometry), (ahead, left)) for one in half_turns)
    text = f"it turns about a point {ahead * 1e3:+.1f} mm ahead of its middle and {left * 1e3:+.1f} mm to the left"
    return (f"{text} (each half turn within {spread * 1e3:.1f} mm of that)",)


def centre_changes(robot: Robot, half_turns: Sequence[HalfTurnRun], geometry: Geometry) -> tuple[ValueChange, ...]:
    """Return what the half turns change in the robot file."""
    if not half_turns:
        return ()
    body, (ahead, left) = robot.body, turn_centre(half_turns, geometry)
    return (
        *changed("body.turn_ahead", body.turn_ahead * 1e3, ahead * 1e3, "{:.1f} mm".format),
        *changed("body.turn_left", body.turn_left * 1e3, left * 1e3, "{:.1f} mm".format),
    )
