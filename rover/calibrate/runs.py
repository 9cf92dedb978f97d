"""One driven run: its counts and headings, the path the odometry makes of them, and whether a wheel slipped. Pure."""

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from rover.calibrate.findings import CalibrationError
from rover.devices.readings import HeadingValue, Reading, WheelCounts

Array = NDArray[np.float64]

WINDOW_S = 0.5
"""Wheels and heading sensor are compared over stretches so long, overlapping by half."""
LEAST_SLIP = math.radians(0.6)
"""A wheel has slipped where the two differ by more than this (rad); a good sensor's noise gives 0.1 deg."""
SLIP_SIGMAS = 6.0
"""On a rough base: and by more than so many of the usual differences."""


class Geometry(NamedTuple):
    """How counts become a path: travel of each side for one count (m), and the effective track (m)."""

    left: float
    right: float
    track: float


class CalibrationRun(NamedTuple):
    """What came in while a run was driven: ``(family, reading)`` in the order of arrival."""

    readings: Sequence[tuple[str, Reading]]

    def of(self, family: str) -> list[Reading]:
        """Return the readings of one device."""
        return [reading for name, reading in self.readings if name == family]


class WheelCountSeries(NamedTuple):
    """Counts of the two sides since the run's start, by time (s)."""

    seconds: Array
    left: Array
    right: Array


def counts_of(run: CalibrationRun) -> WheelCountSeries:
    """Return the counts of a run.

    Raises:
        CalibrationError: there are none, or the device restarted.
    """
    readings = run.of("counts")
    values: list[WheelCounts] = [reading.value for reading in readings]
    if len(values) < 2:
        raise CalibrationError("no wheel counts came in; see 'devices: counts:' and its wiring ('rover bring-up')")
    if len({value.boot for value in values}) > 1:
        raise CalibrationError("the device that counts restarted during the run; check its supply, and begin again")
    first = values[0]
    return WheelCountSeries(
        np.array([reading.taken_ns * 1e-9 for reading in readings]),
        np.array([float(value.left - first.left) for value in values]),
        np.array([float(value.right - first.right) for value in values]),
    )


def headings_of(run: CalibrationRun) -> tuple[Array, Array]:
    """Return (s, rad) of the heading reports, turns counted on.

    Raises:
        CalibrationError: there are none.
    """
    readings = run.of("heading")
    if len(readings) < 2:
        raise CalibrationError("no heading came in; this needs a heading sensor ('devices: heading:') that reports")
    seconds = np.array([reading.taken_ns * 1e-9 for reading in readings])
    return seconds, np.unwrap(np.array([reading.value.angle for reading in readings]))


def turned(run: CalibrationRun, rest_s: float) -> float:
    """Return how far (rad) the heading sensor saw the robot turn, from its rest of ``rest_s`` before to that after."""
    seconds, angles = headings_of(run)
    return float(np.mean(angles[seconds >= seconds[-1] - rest_s]) - np.mean(angles[seconds <= seconds[0] + rest_s]))


def path(counts: WheelCountSeries, geometry: Geometry) -> tuple[Array, Array, Array]:
    """Return (x, y, heading) of the odometry's path from (0, 0) along +x: arcs between reports, by their chords."""
    left, right = np.diff(counts.left) * geometry.left, np.diff(counts.right) * geometry.right
    turn = (right - left) / geometry.track
    heading = np.concatenate(([0.0], np.cumsum(turn)))
    chord = 0.5 * (left + right) * np.sinc(turn / (2.0 * math.pi))
    middle = heading[:-1] + 0.5 * turn
    x = np.concatenate(([0.0], np.cumsum(chord * np.cos(middle))))
    y = np.concatenate(([0.0], np.cumsum(chord * np.sin(middle))))
    return x, y, heading


def slip(run: CalibrationRun) -> float:
    """Return by how much (rad) wheels and heading sensor differ at worst in a half second; 0.0 when it is noise.

    The turn rate is held against the best linear combination of the two sides' travel over the run, so neither the
    track nor the wheels nor the sensor's drift need be known. Without a turn rate slips cannot be seen: 0.0.
    """
    rates = [(reading.taken_ns * 1e-9, reading.value) for reading in run.of("heading")]
    rates = [(second, value) for second, value in rates if isinstance(value, HeadingValue) and value.rate is not None]
    counts = counts_of(run)
    if len(rates) < 3:
        return 0.0
    seconds, rate = np.array([second for second, _ in rates]), np.array([value.rate for _, value in rates])
    angle = np.concatenate(([0.0], np.cumsum(0.5 * (rate[1:] + rate[:-1]) * np.diff(seconds))))
    begins = np.arange(
        max(seconds[0], counts.seconds[0]), min(seconds[-1], counts.seconds[-1]) - WINDOW_S, WINDOW_S / 2
    )
    if len(begins) < 4:
        return 0.0

    def over_windows(times: Array, values: Array) -> Array:
        both: Array = np.interp(begins + WINDOW_S, times, values) - np.interp(begins, times, values)
        return both

    sides = [over_windows(counts.seconds, side) for side in (counts.left, counts.right)]
    wheels = np.column_stack([*sides, np.ones(len(begins))])
    turns = over_windows(seconds, angle)
    differences = np.abs(turns - wheels @ np.linalg.lstsq(wheels, turns, rcond=1e-6)[0])
    usual = 1.4826 * float(np.median(differences))
    worst = float(np.max(differences))
    return worst if worst > max(LEAST_SLIP, SLIP_SIGMAS * usual) else 0.0
