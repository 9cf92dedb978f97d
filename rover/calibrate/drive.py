"""Wheels and track from straight runs by tape, turns on the spot, and a square driven both ways.

What each gives: the tape the mean travel for one count; the turns the track as which the base turns, which on a
skid-steer base is 1.2 to 1.9 times the geometric one and so far outside what the square-path method may be used
for; the square then the ratio of the wheels, and the track once more and better. Each changes the others a little,
so all is repeated on the same runs until it stands.

Half turns on the spot then give the point about which the base turns: what the middle has moved by is twice the way to
it. A square does not tell: its four corners together turn once round that point, and come back.
"""

import math
from collections.abc import Callable, Sequence
from typing import Any, NamedTuple, TypeVar

import numpy as np

from rover.calibrate.apparatus import Assistant, Drivetrain, check_length, check_moved, check_return, needed
from rover.calibrate.findings import CalibrationError, Findings, Plot, Series, ValueChange, changed
from rover.calibrate.pilot import REST_S, Pilot
from rover.calibrate.runs import CalibrationRun, Geometry, WheelCountSeries, counts_of, path, slip, turned
from rover.calibrate.turn_centre import HalfTurnRun, centre_changes, centre_lines
from rover.calibrate.umbmark import correction, wheel_scales
from rover.files.robot import Robot

LENGTH = 2.0
SIDE = 1.0
STRAIGHTS = 3
SPINS = 2
SPIN = 4.0 * math.pi
SQUARES = 5
HALF_TURNS = 2
TRIES = 4
"""A run in which a wheel slipped is driven again, so many times; then the best one is taken."""
_ROUNDS = 50

Measurement = TypeVar("Measurement")
"""What is measured after a run."""


class StraightRun(NamedTuple):
    """A straight run, and its length (m) by tape."""

    counts: WheelCountSeries
    length: float
    slipped: bool = False


class SpinRun(NamedTuple):
    """A turn on the spot, and its angle (rad) by the heading sensor."""

    counts: WheelCountSeries
    angle: float
    slipped: bool = False


class SquareRun(NamedTuple):
    """A square, counter-clockwise (``sign`` 1) or clockwise (-1), and where it came back to (m ahead, m left)."""

    counts: WheelCountSeries
    sign: float
    x: float
    y: float
    slipped: bool = False


class DriveMeasurements(NamedTuple):
    """All that was driven and measured; ``side`` (m) is that of the squares."""

    straights: Sequence[StraightRun]
    spins: Sequence[SpinRun]
    squares: Sequence[SquareRun]
    side: float
    half_turns: Sequence[HalfTurnRun] = ()


def geometry_of(robot: Robot) -> Geometry:
    """Return what a robot file says."""
    metres, counts = robot.body.metres_per_count, robot.devices.counts
    return Geometry(metres * counts.left_scale, metres * counts.right_scale, robot.body.effective_track)


def by_tape(straights: Sequence[StraightRun], geometry: Geometry) -> Geometry:
    """Return the geometry with the mean travel for one count that the tape gives; the track stays.

    Raises:
        CalibrationError: a length cannot be meant.
    """
    factors = []
    for straight in straights:
        way = _mean_way(straight.counts, geometry)
        check_length(straight.length, way)
        factors.append(straight.length / way)
    factor = float(np.median(factors))
    return Geometry(geometry.left * factor, geometry.right * factor, geometry.track)


def by_spins(spins: Sequence[SpinRun], geometry: Geometry) -> Geometry:
    """Return the geometry with the track that turns on the spot give.

    Raises:
        CalibrationError: the heading sensor says that the robot did not turn, or turned the other way.
    """
    ways = [spin.counts.right[-1] * geometry.right - spin.counts.left[-1] * geometry.left for spin in spins]
    for spin, way in zip(spins, ways, strict=True):
        if spin.angle * way <= 0.0 or abs(spin.angle) < 0.3 * abs(way) / geometry.track:
            side, degrees = "left" if way > 0.0 else "right", math.degrees(spin.angle)
            raise CalibrationError(
                f"by its counts the robot turned {side}, by the heading sensor {degrees:.0f} deg (counter-clockwise "
                "positive): 'rover calibrate ROBOT heading' tells which of the two is wrong"
            )
    return geometry._replace(track=sum(map(abs, ways)) / sum(abs(spin.angle) for spin in spins))


def by_squares(squares: Sequence[SquareRun], side: float, geometry: Geometry) -> Geometry:
    """Return the geometry corrected once by the square-path method (`rover.calibrate.umbmark`).

    The median of the runs of a direction stands for the method's centre of gravity: one that slipped does less harm.

    Raises:
        CalibrationError: the return errors are too large for the method.
    """
    clockwise = [errors(square, geometry)[0] for square in squares if square.sign < 0.0]
    counter = [errors(square, geometry)[0] for square in squares if square.sign > 0.0]
    try:
        found = correction(float(np.median(clockwise)), float(np.median(counter)), side, geometry.track)
    except ValueError as error:
        raise CalibrationError(f"{error}: did the marks or the robot move between start and end?") from None
    left, right = wheel_scales(found.wheels)
    return Geometry(geometry.left * left, geometry.right * right, geometry.track * found.track)


def errors(square: SquareRun, geometry: Geometry) -> tuple[float, float]:
    """Return the return error (m): where the square truly ended less where the odometry says that it did."""
    x, y, _ = path(square.counts, geometry)
    return square.x - float(x[-1]), square.y - float(y[-1])


def solve(measured: DriveMeasurements, start: Geometry) -> Geometry:
    """Return the geometry that fits all runs.

    Raises:
        CalibrationError: it does not settle, or what was measured cannot be meant.
    """
    geometry = by_spins(measured.spins, by_tape(measured.straights, start))
    for _ in range(_ROUNDS):
        last, geometry = geometry, by_squares(measured.squares, measured.side, by_tape(measured.straights, geometry))
        if max(abs(new / old - 1.0) for new, old in zip(geometry, last, strict=True)) < 1e-7:
            return geometry
    raise CalibrationError("the square runs contradict each other; drive them again, on a firm and level floor")


def measure(drivetrain: Drivetrain, assistant: Assistant, robot: Robot, side: float = SIDE) -> DriveMeasurements:
    """Drive all runs and have them measured.

    Raises:
        CalibrationError: wheels, counts, heading or tape are not as they must be.
    """
    needed(robot.devices.heading, "heading sensor", "heading")
    pilot = Pilot(drivetrain, robot, geometry_of(robot))
    straights = [_straight(pilot, assistant) for _ in range(STRAIGHTS)]
    pilot.geometry = by_tape(straights, pilot.geometry)
    assistant.ready("give it room to turn on the spot")
    spins = [_spin(pilot, sign) for sign in (1.0, -1.0) * SPINS]
    pilot.geometry = by_spins(spins, pilot.geometry)
    half_turns = [_half_turn(pilot, assistant, sign) for sign in (1.0, -1.0) * HALF_TURNS]
    squares = [_square(pilot, assistant, side, sign) for sign in (1.0, -1.0) * SQUARES]
    return DriveMeasurements(straights, spins, squares, side, half_turns)


def _straight(pilot: Pilot, assistant: Assistant) -> StraightRun:
    def attempt() -> tuple[CalibrationRun, float]:
        assistant.ready(f"put the robot at the mark, {LENGTH + 0.5:g} m free ahead")
        run = pilot.straight(LENGTH)
        return run, assistant.length(_mean_way(counts_of(run), pilot.geometry))

    run, length, slipped = _without_slip(attempt)
    return StraightRun(counts_of(run), length, slipped)


def _spin(pilot: Pilot, sign: float) -> SpinRun:
    run, _, slipped = _without_slip(lambda: (pilot.spin(sign * SPIN), None))
    return SpinRun(counts_of(run), turned(run, REST_S), slipped)


def _half_turn(pilot: Pilot, assistant: Assistant, sign: float) -> HalfTurnRun:
    def attempt() -> tuple[CalibrationRun, tuple[float, float]]:
        side = "left" if sign > 0.0 else "right"
        assistant.ready(f"mark where its middle stands, midway between the wheels; it turns half round to its {side}")
        return pilot.spin(sign * math.pi), assistant.moved()

    run, (x, y), slipped = _without_slip(attempt)
    check_moved(x, y)
    return HalfTurnRun(counts_of(run), turned(run, REST_S), x, y, slipped)


def _square(pilot: Pilot, assistant: Assistant, side: float, sign: float) -> SquareRun:
    way = "left, counter-clockwise" if sign > 0.0 else "right, clockwise"

    def attempt() -> tuple[CalibrationRun, tuple[float, float]]:
        assistant.ready(f"mark where the robot stands; it drives a square of {side:g} m to its {way}")
        return pilot.square(side, sign), assistant.return_error(side)

    run, (x, y), slipped = _without_slip(attempt)
    check_return(x, y, side)
    return SquareRun(counts_of(run), sign, x, y, slipped)


def _without_slip(
    attempt: Callable[[], tuple[CalibrationRun, Measurement]],
) -> tuple[CalibrationRun, Measurement, bool]:
    """Return the first run in which no wheel slipped, what was measured, and False; after some tries the best, True."""
    tried: list[tuple[float, tuple[CalibrationRun, Measurement]]] = []
    while len(tried) < TRIES:
        run, taken = attempt()
        tried.append((slip(run), (run, taken)))
        if tried[-1][0] == 0.0:
            break
    least, (run, taken) = min(tried, key=lambda one: one[0])
    return run, taken, least > 0.0


def _mean_way(counts: WheelCountSeries, geometry: Geometry) -> float:
    return 0.5 * float(counts.left[-1] * geometry.left + counts.right[-1] * geometry.right)


def findings(measured: DriveMeasurements, robot: Robot) -> Findings:
    """Return what the runs say about a robot file.

    Raises:
        CalibrationError: what was measured cannot be meant.
    """
    before = geometry_of(robot)
    after = solve(measured, before)
    spun = by_spins(measured.spins, by_tape(measured.straights, before))
    lines = (
        f"effective track {after.track * 1e3:.1f} mm (by turning on the spot {spun.track * 1e3:.1f} mm)",
        *centre_lines(measured.half_turns, after),
        f"right wheels' travel for one count over the left ones': {after.right / after.left:.5f}",
        f"straight runs: residuals {', '.join(f'{one * 1e3:+.1f}' for one in _tape_residuals(measured, after))} mm",
        f"squares: came back {_rms(measured, before) * 1e3:.0f} mm off on average by the file as it was, "
        f"{_rms(measured, after) * 1e3:.1f} mm now",
        *_slip_lines(measured),
    )
    changes = (*_changes(robot, after), *centre_changes(robot, measured.half_turns, after))
    return Findings(changes, lines, _plots(measured, before, after), _data(measured, before, after))


def _slip_lines(measured: DriveMeasurements) -> tuple[str, ...]:
    runs: list[StraightRun | SpinRun | HalfTurnRun | SquareRun] = [*measured.straights, *measured.spins]
    runs += [*measured.half_turns, *measured.squares]
    slipped = sum(run.slipped for run in runs)
    line = f"in {slipped} of {len(runs)} runs a wheel slipped at every try; a firmer floor would give better values"
    return (line,) if slipped else ()


def _changes(robot: Robot, after: Geometry) -> tuple[ValueChange, ...]:
    body, counts = robot.body, robot.devices.counts
    mean = 0.5 * (after.left + after.right)
    diameter = mean * body.counts_per_rev / math.pi
    return (
        *changed("body.wheel_diameter", body.wheel_diameter * 1e3, diameter * 1e3, "{:.2f} mm".format),
        *changed("body.track_factor", body.track_factor, after.track / body.track, "{:.4f}".format),
        *changed("devices.counts.left_scale", counts.left_scale, after.left / mean, "{:.5f}".format),
        *changed("devices.counts.right_scale", counts.right_scale, after.right / mean, "{:.5f}".format),
    )


def _tape_residuals(measured: DriveMeasurements, geometry: Geometry) -> list[float]:
    return [straight.length - _mean_way(straight.counts, geometry) for straight in measured.straights]


def _rms(measured: DriveMeasurements, geometry: Geometry) -> float:
    return math.sqrt(np.mean([math.hypot(*errors(square, geometry)) ** 2 for square in measured.squares]))


def _plots(measured: DriveMeasurements, before: Geometry, after: Geometry) -> tuple[Plot, ...]:
    def returns(geometry: Geometry, title: str) -> Plot:
        points = {sign: [errors(one, geometry) for one in measured.squares if one.sign == sign] for sign in (1.0, -1.0)}
        series = tuple(
            Series(name, [x * 1e3 for x, _ in points[sign]], [y * 1e3 for _, y in points[sign]])
            for name, sign in (("counter-clockwise", 1.0), ("clockwise", -1.0))
        )
        return Plot(title, "ahead (mm)", "left (mm)", series, square=True)

    residuals = [residual * 1e3 for residual in _tape_residuals(measured, after)]
    tape = Series("tape less counts", list(range(1, 1 + len(residuals))), residuals)
    return (
        returns(before, "Return errors of the squares, file as it was"),
        returns(after, "Return errors of the squares, corrected"),
        Plot("Straight runs, corrected", "run", "residual (mm)", (tape,)),
    )


def _data(measured: DriveMeasurements, before: Geometry, after: Geometry) -> dict[str, Any]:
    def in_all(counts: WheelCountSeries) -> dict[str, float]:
        return {"left": counts.left[-1], "right": counts.right[-1]}

    return {
        "metres_per_count_left_right_and_track_m": {"before": list(before), "after": list(after)},
        "straights": [in_all(one.counts) | {"tape_m": one.length} for one in measured.straights],
        "spins": [in_all(one.counts) | {"turned_rad": one.angle} for one in measured.spins],
        "half_turns": [
            in_all(one.counts) | {"turned_rad": one.angle, "middle_at_m": [one.x, one.y]} for one in measured.half_turns
        ],
        "squares": [
            {
                "side_m": measured.side,
                "sign": one.sign,
                "back_at_m": [one.x, one.y],
                "error_before_m": list(errors(one, before)),
                "error_after_m": list(errors(one, after)),
            }
            for one in measured.squares
        ],
    }
