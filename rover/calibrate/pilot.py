"""Drives the runs of a calibration: straight, on the spot, round a square, by wheel counts and heading sensor."""

import math
from collections.abc import Callable, Sequence

from rover.calibrate.apparatus import Drivetrain
from rover.calibrate.findings import CalibrationError
from rover.calibrate.runs import CalibrationRun, Geometry
from rover.devices.readings import Reading
from rover.estimate.odometry import settled, settling_time
from rover.files.robot import Robot
from rover.motion.carriage import Carriage
from rover.motion.profile import towards, turning
from rover.motion.request import Request
from rover.quantities import wrap

SPEED = 0.25
TURN_RATE = math.radians(60.0)
REST_S = 1.0
"""So long the robot stands before and after each run: its headings there are averaged."""
_HOLD_GAIN = 2.0
_HEADING_SHARE = 0.1
_ARRIVED_M = 0.004
_ARRIVED_RAD = math.radians(0.7)
_TURNS_WITHIN_S = 2.0
_BACKWARDS_M = 0.01
_SILENT_NS = 1_500_000_000
_SILENT = "the heading sensor is silent: see its wiring ('rover bring-up'), and begin again"


class Side:
    """One side's wheels: travel by its counts, speed, and whether they do what they are told."""

    def __init__(self, name: str, metres: float) -> None:
        self.name, self.metres = name, metres
        self.travel = self.speed = 0.0
        self._last: tuple[int, int] | None = None
        self._wanted_s = self._travel_then = self._sign = 0.0

    def count(self, counts: int, taken_ns: int) -> None:
        """Take a report."""
        if self._last is not None and taken_ns > self._last[0]:
            way = (counts - self._last[1]) * self.metres
            self.travel += way
            seconds = (taken_ns - self._last[0]) * 1e-9
            self.speed = settled(self.speed, way, seconds, settling_time(self.metres))
        self._last = (taken_ns, counts)

    def expect(self, wanted: float, seconds: float) -> None:
        """Note what the wheels are to do for the next ``seconds`` (m/s).

        Raises:
            CalibrationError: they stand still, or the counts run the other way.
        """
        sign = float(wanted > 0.03) - float(wanted < -0.03)
        if sign != self._sign:
            self._sign, self._wanted_s, self._travel_then = sign, 0.0, self.travel
        self._wanted_s += seconds
        way = (self.travel - self._travel_then) * sign
        if sign and way < -_BACKWARDS_M and self._wanted_s > 0.3:
            raise CalibrationError(
                f"the {self.name} counts run backwards: set 'reverse_{self.name}' under 'devices: counts:', or under "
                "'drive:' if the wheels themselves turn backwards ('rover bring-up' tells which)"
            )
        if sign and self._wanted_s > _TURNS_WITHIN_S and way < _BACKWARDS_M:
            raise CalibrationError(
                f"the {self.name} wheels do not turn, or are not counted: see the motor's supply, the emergency stop, "
                "and the encoder's wiring"
            )


class Pilot:
    """Drives runs, each from rest to rest, every command through the limits as in a run.

    Args:
        drivetrain: the robot.
        robot: its file.
        geometry: what is known of wheels and track; may be replaced as more is known.
    """

    def __init__(self, drivetrain: Drivetrain, robot: Robot, geometry: Geometry) -> None:
        self._drivetrain = drivetrain
        self._robot = robot
        self._carriage = Carriage(robot)
        self._speed = min(SPEED, robot.limits.speed, 0.7 * robot.devices.drive.top_speed)
        self._period = drivetrain.period_s
        self._sides = (Side("left", geometry.left), Side("right", geometry.right))
        self._heading: float | None = None
        self._heard_ns = drivetrain.now_ns
        self._log: list[tuple[str, Reading]] = []
        self.geometry = geometry

    @property
    def heading(self) -> float:
        """Heading (rad), turns counted on: by the wheels, drawn towards the sensor.

        Raises:
            CalibrationError: the sensor has not reported yet.
        """
        if self._heading is None:
            raise CalibrationError(_SILENT)
        return self._heading

    def straight(self, length: float) -> CalibrationRun:
        """Drive a length (m, by the counts) straight ahead."""
        return self._run(lambda: self._drive_straight(length))

    def spin(self, angle: float) -> CalibrationRun:
        """Turn on the spot by an angle (rad, counter-clockwise positive; more than a turn where it says so)."""
        return self._run(lambda: self._turn_to(self.heading + angle))

    def turn_by_wheels(self, angle: float) -> CalibrationRun:
        """Turn on the spot by an angle (rad) of less than a turn as the wheels measure it, whatever the sensor says."""

        def drive() -> None:
            left, right = self._sides
            begins = right.travel - left.travel

            def wanted() -> tuple[float, float] | None:
                turned = (right.travel - left.travel - begins) / self.geometry.track
                return None if turned * angle >= angle * angle else (0.0, math.copysign(TURN_RATE / 2.0, angle))

            self._until_done(wanted, 2.0 * abs(angle) / TURN_RATE)

        return self._run(drive)

    def square(self, side: float, sign: float) -> CalibrationRun:
        """Drive round a square with a ``side`` (m), counter-clockwise (``sign`` 1) or clockwise (-1).

        The sides are driven in fixed headings, so that the square closes within what the heading sensor can do.
        """

        def drive() -> None:
            start = self.heading
            for corner in range(4):
                self._drive_straight(side, start + sign * corner * math.pi / 2.0)
                self._turn_to(start + sign * (corner + 1) * math.pi / 2.0)

        return self._run(drive)

    def rest(self, seconds: float) -> CalibrationRun:
        """Stand still."""
        self._log = []
        self._stand(seconds)
        return CalibrationRun(tuple(self._log))

    def _run(self, drive: Callable[[], None]) -> CalibrationRun:
        self._stand(REST_S)
        self._log = []
        self._stand(REST_S)
        drive()
        self._stand(REST_S + 0.5)
        return CalibrationRun(tuple(self._log))

    def _stand(self, seconds: float) -> None:
        self._carriage.limits.stop()
        for _ in range(math.ceil(seconds / self._period)):
            self._step(0.0, 0.0)

    def _drive_straight(self, length: float, heading: float | None = None) -> None:
        held = self.heading if heading is None else heading
        begins = self._mean_travel()

        def wanted() -> tuple[float, float] | None:
            to_go = length - (self._mean_travel() - begins)
            if to_go < _ARRIVED_M:
                return None
            speed = towards(to_go - _ARRIVED_M, self._speed, 0.5 * self._robot.limits.deceleration)
            return speed, _HOLD_GAIN * (held - self.heading)

        self._until_done(wanted, length / self._speed)

    def _turn_to(self, heading: float) -> None:
        most = min(TURN_RATE, self._robot.limits.turn_rate)
        by = abs(heading - self.heading)

        def wanted() -> tuple[float, float] | None:
            error = heading - self.heading
            if abs(error) < _ARRIVED_RAD:
                return None
            return 0.0, math.copysign(max(0.15, abs(turning(error, most, 2.0))), error)

        self._until_done(wanted, by / most)

    def _until_done(self, wanted: Callable[[], tuple[float, float] | None], seconds: float) -> None:
        """Drive as wanted (m/s, rad/s) until there is nothing to want.

        Raises:
            CalibrationError: it takes far longer than the ``seconds`` that are due.
        """
        ends_ns = self._drivetrain.now_ns + round((3.0 * seconds + 10.0) * 1e9)
        while (now := wanted()) is not None:
            if self._drivetrain.now_ns > ends_ns:
                causes = ", ".join(self._carriage.limits.causes) or "nothing"
                raise CalibrationError(f"the robot does not get to where it is to go; held back by: {causes}")
            self._step(*now)
        self._stand(0.5)

    def _step(self, speed: float, turn_rate: float) -> None:
        """Drive for a step, as far as the limits allow it."""
        period = self._period
        allowed = self._carriage.allow(Request(speed, turn_rate), self._drivetrain.now_ns, period)
        self._carriage.echoes.moved(allowed.speed * period, allowed.turn_rate * period)
        speeds = self._carriage.wheel_speeds(allowed, self.geometry.track)
        for side, wanted in zip(self._sides, speeds, strict=True):
            side.expect(wanted, period)
        duties = self._carriage.duties(speeds, (self._sides[0].speed, self._sides[1].speed), period)
        self._take(self._drivetrain.step(*duties))

    def _take(self, readings: Sequence[tuple[str, Reading]]) -> None:
        left, right = self._sides
        before = right.travel - left.travel
        for family, reading in readings:
            if family == "counts":
                left.count(reading.value.left, reading.taken_ns)
                right.count(reading.value.right, reading.taken_ns)
        turn = (right.travel - left.travel - before) / self.geometry.track
        self._heading = None if self._heading is None else self._heading + turn
        for family, reading in readings:
            if family == "heading":
                self._hear(reading)
            else:
                self._carriage.take(family, reading.value)
        self._log += readings
        if self._drivetrain.now_ns - self._heard_ns > _SILENT_NS:
            raise CalibrationError(_SILENT)

    def _hear(self, reading: Reading) -> None:
        self._heard_ns = reading.taken_ns
        angle = reading.value.angle
        if self._heading is None:
            self._heading = angle
        self._heading += _HEADING_SHARE * wrap(angle - self._heading)

    def _mean_travel(self) -> float:
        return 0.5 * (self._sides[0].travel + self._sides[1].travel)
