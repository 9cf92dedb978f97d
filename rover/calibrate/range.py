"""The range finder against a ruler: offset and scale of its distances, at the temperature of the air."""

import math
from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np

from rover.calibrate.apparatus import Assistant, Drivetrain, needed
from rover.calibrate.findings import CalibrationError, Findings, Plot, Series, ValueChange, changed
from rover.devices.range.echo_pins import speed_of_sound
from rover.devices.range.keys import EchoPinsKeys, RangeKeys
from rover.devices.readings import RangeValue
from rover.files.robot import Robot

DISTANCES = (0.2, 0.4, 0.7, 1.0, 1.4, 1.8)
LISTEN_S = 3.0
_MOST_OFF = 0.05
"""A scale further from one is a mistake of the ruler, not of the sensor."""
_LEAST_OUTLIER = 0.02
_LEAST_POINTS = 3


class RulerSample(NamedTuple):
    """What was heard at one distance (m, by the ruler): the distances reported, and how many echoes were missing."""

    ruler: float
    heard: tuple[float, ...]
    missing: int

    @property
    def median(self) -> float:
        """The middle one of the distances heard (m)."""
        return float(np.median(self.heard))

    @property
    def strays(self) -> int:
        """How many of them lie far from the middle: three standard deviations, and 2 cm."""
        away = np.abs(np.array(self.heard) - self.median)
        return int(np.sum(away > max(3.0 * 1.4826 * float(np.median(away)), _LEAST_OUTLIER)))


class LineFit(NamedTuple):
    """True distance = ``offset`` (m) + ``scale`` times what is reported, with their standard errors."""

    offset: float
    scale: float
    offset_sigma: float
    scale_sigma: float


def measure(drivetrain: Drivetrain, assistant: Assistant, robot: Robot) -> tuple[list[RulerSample], float]:
    """Have the robot put before a wall at several distances; return what it heard, and the air's temperature.

    Raises:
        CalibrationError: there is no range finder, or it is silent.
    """
    sensor = needed(robot.devices.range, "range finder", "range")
    celsius = assistant.air_temperature()
    wanted = [distance for distance in DISTANCES if sensor.least + 0.02 < distance < 0.95 * sensor.most]
    if len(wanted) < _LEAST_POINTS:
        raise CalibrationError(f"between 'least' and 'most' there is no room for {_LEAST_POINTS} distances")
    return [_listen(drivetrain, assistant.wall_distance(distance)) for distance in wanted], celsius


def _listen(drivetrain: Drivetrain, ruler: float) -> RulerSample:
    """Listen to what is reported from now on.

    Raises:
        CalibrationError: nothing is.
    """
    begins_ns = drivetrain.now_ns
    readings = [one for _ in range(round(LISTEN_S / drivetrain.period_s)) for one in drivetrain.step(0.0, 0.0)]
    values: list[RangeValue] = [
        reading.value for family, reading in readings if family == "range" and reading.taken_ns > begins_ns
    ]
    if not values:
        raise CalibrationError("the range finder is silent: see its wiring ('rover bring-up'), and begin again")
    heard = tuple(value.distance for value in values if value.distance is not None)
    return RulerSample(ruler, heard, len(values) - len(heard))


def fit(points: Sequence[RulerSample], factor: float = 1.0) -> LineFit:
    """Return the line of least squares through ruler against median, all points alike.

    Args:
        points: at least three.
        factor: by which the medians are multiplied first: another speed of sound.
    """
    x, y = np.array([point.median * factor for point in points]), np.array([point.ruler for point in points])
    design = np.column_stack([np.ones(len(x)), x])
    offset, scale = np.linalg.lstsq(design, y, rcond=None)[0]
    residuals = y - (offset + scale * x)
    variance = float(residuals @ residuals) / (len(x) - 2)
    offset_variance, scale_variance = variance * np.diag(np.linalg.inv(design.T @ design))
    return LineFit(float(offset), float(scale), math.sqrt(offset_variance), math.sqrt(scale_variance))


def without_outliers(points: Sequence[RulerSample], factor: float) -> tuple[list[RulerSample], list[RulerSample]]:
    """Return (points that lie on one line, points that do not), the worst left out first while others remain enough.

    A point is out when it is 2 cm and four standard deviations away from the line through the others.
    """
    kept, out = list(points), list[RulerSample]()
    while len(kept) > _LEAST_POINTS + 1:
        worst = max(kept, key=lambda point: _away(point, kept, factor)[0])
        away, usual = _away(worst, kept, factor)
        if away < max(_LEAST_OUTLIER, 4.0 * usual):
            break
        kept.remove(worst)
        out.append(worst)
    return kept, out


def _away(point: RulerSample, points: Sequence[RulerSample], factor: float) -> tuple[float, float]:
    """Return how far (m) a point is from the line through the others, and how far these are from it."""
    others = [other for other in points if other is not point]
    line = fit(others, factor)
    usual = math.sqrt(float(np.mean([_residual(other, line, factor) ** 2 for other in others])))
    return abs(_residual(point, line, factor)), usual


def _residual(point: RulerSample, line: LineFit, factor: float) -> float:
    return point.ruler - (line.offset + line.scale * point.median * factor)


def findings(measured: tuple[Sequence[RulerSample], float], robot: Robot) -> Findings:
    """Return what the distances say about a robot file.

    Raises:
        CalibrationError: too few distances with an echo, or ruler and sensor are far apart.
    """
    sensor = needed(robot.devices.range, "range finder", "range")
    points, celsius = measured
    factor = speed_of_sound(celsius) / speed_of_sound(sensor.temperature) if isinstance(sensor, EchoPinsKeys) else 1.0
    usable = [point for point in points if point.heard]
    if len(usable) < _LEAST_POINTS:
        raise CalibrationError(f"echoes at {len(usable)} distances only; stand it square to a smooth, hard wall")
    kept, out = without_outliers(usable, factor)
    line = fit(kept, factor)
    if abs(line.scale - 1.0) > _MOST_OFF:
        raise CalibrationError(
            f"the ruler's distances grow {line.scale:.2f} times as fast as the reported ones; no air does that: "
            "look at the ruler's unit, and whether the robot stands square to the wall"
        )
    is_scaled = abs(line.scale - 1.0) > max(3.0 * line.scale_sigma, 0.005)
    offset = line.offset if is_scaled else float(np.mean([point.ruler - point.median * factor for point in kept]))
    lines = (
        f"true = {line.offset * 1e3:+.1f} mm (+- {line.offset_sigma * 1e3:.1f}) + {line.scale:.4f} "
        f"(+- {line.scale_sigma:.4f}) times reported, at {celsius:.1f} degC",
        *(_sample_line(point, line, factor) for point in points),
        *(f"left out: {point.ruler:.3f} m, which lies off the line of the others" for point in out),
        *(["the scale is not one, and the temperature is right: look at ruler and sensor"] if is_scaled else []),
    )
    return Findings(
        _changes(sensor, offset, line, celsius), lines, _plots(kept, out, line, factor), _data(points, line, celsius)
    )


def _changes(sensor: RangeKeys, offset: float, line: LineFit, celsius: float) -> tuple[ValueChange, ...]:
    """Return the changes: an offset that is more than its error moves the place of the sensor's face."""
    ahead: tuple[ValueChange, ...] = ()
    if abs(offset) > max(0.003, line.offset_sigma):
        ahead = changed("devices.range.ahead", sensor.ahead * 1e3, (sensor.ahead + offset) * 1e3, "{:.0f} mm".format)
    if not isinstance(sensor, EchoPinsKeys):
        return ahead
    return (*ahead, *changed("devices.range.temperature", sensor.temperature, celsius, "{:.1f} degC".format))


def _sample_line(point: RulerSample, line: LineFit, factor: float) -> str:
    of = len(point.heard) + point.missing
    if not point.heard:
        return f"{point.ruler:.3f} m: no echo in {of} pings"
    residual = _residual(point, line, factor) * 1e3
    return (
        f"{point.ruler:.3f} m: heard {point.median:.3f} m, residual {residual:+.1f} mm; of {of} pings {point.missing} "
        f"without echo, {point.strays} far off"
    )


def _plots(kept: Sequence[RulerSample], out: Sequence[RulerSample], line: LineFit, factor: float) -> tuple[Plot, ...]:
    def series(label: str, points: Sequence[RulerSample]) -> Series:
        return Series(label, [one.ruler for one in points], [_residual(one, line, factor) * 1e3 for one in points])

    heard = [(point.ruler, one) for point in [*kept, *out] for one in point.heard]
    ends = [min(point.median for point in kept), max(point.median for point in kept)]
    fitted = Series("line", [line.offset + line.scale * factor * end for end in ends], ends, marks=False)
    pings = Series("pings", [ruler for ruler, _ in heard], [one for _, one in heard])
    return (
        Plot("Range finder against ruler", "ruler (m)", "reported (m)", (pings, fitted)),
        Plot("Residuals of the medians", "ruler (m)", "residual (mm)", (series("used", kept), series("left out", out))),
    )


def _data(points: Sequence[RulerSample], line: LineFit, celsius: float) -> dict[str, Any]:
    return {
        "celsius": celsius,
        "line": line._asdict(),
        "points": [{"ruler_m": one.ruler, "heard_m": list(one.heard), "missing": one.missing} for one in points],
    }
