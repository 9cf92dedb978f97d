"""Stand-ins of the robot's devices, fed by the bench.

They measure at their stated rate on the bench's own clock and hand a report over when it has had time to arrive.
A device that names a ``link:`` shares that link's latency and stalls. Wiring options (``swap_sides``,
``reverse_left``, ``offset``) describe a real robot's build and change nothing here.
"""

import math
from collections.abc import Mapping, Sequence
from typing import Any

from rover.bench.draws import NEVER_NS
from rover.bench.floor import Round
from rover.bench.gripper import felt
from rover.bench.objects import Piece
from rover.bench.orientation import Orientation
from rover.bench.report_faults import battery_with, heading_with, jaws_with
from rover.bench.reporter import Commanded, Reporter, bench_of
from rover.bench.sight import CameraPose, Sight
from rover.bench.sonar import Sonar
from rover.devices.camera.values import FROZEN_AFTER
from rover.devices.mount import Mount
from rover.devices.protocols import DriverContext
from rover.devices.readings import (
    BatteryValue,
    Detections,
    DriveCommand,
    HeadingValue,
    JawsCommand,
    JawsValue,
    RangeValue,
    StopInputValue,
    WheelCounts,
)
from rover.devices.registry import register_stand_ins
from rover.files.fault_table import ReportsFault
from rover.quantities import clamp, must_be_finite

CALIBRATED = 3
CLOSED, OPEN = StopInputValue(True), StopInputValue(False)


class Counts(Reporter):
    """Wheel encoders."""

    FAMILY = "counts"
    _boot = 0

    def _measure(self, now_ns: int) -> WheelCounts:
        left, right = self._bench.encoders
        base = self._bench.base
        return WheelCounts(left.absorb(base.left_travel), right.absorb(base.right_travel), self._boot)

    def _restart(self) -> None:
        (left, right), base = self._bench.encoders, self._bench.base
        left.restart(base.left_travel)
        right.restart(base.right_travel)
        self._boot = self._trouble.boots + self._line_trouble.boots


class Heading(Reporter):
    """Absolute-orientation sensor: counter-clockwise from the field's x axis, plus its errors."""

    FAMILY = "heading"

    def __init__(self, options: Mapping[str, Any], context: DriverContext) -> None:
        super().__init__(options, context)
        self._orientation = Orientation(self._bench.file, self._seed)

    def _measure(self, now_ns: int) -> HeadingValue:
        bench = self._bench
        angle = self._orientation.measure(bench.heading, (bench.x, bench.y), now_ns)
        return HeadingValue(angle, self._orientation.measure_rate(bench.base.turn_rate), CALIBRATED)

    def _measure_with(self, fault: ReportsFault, now_ns: int) -> HeadingValue:
        return heading_with(fault, self._trouble.seconds_at(now_ns), self._measure(now_ns), self._fault_draws)


class Range(Reporter):
    """Ultrasonic range finder. Objects echo, the held one too; jaws do not."""

    FAMILY = "range"

    def __init__(self, options: Mapping[str, Any], context: DriverContext) -> None:
        super().__init__(options, context)
        self._mount: Mount = self._keys.mount
        self._sonar = Sonar(self._bench.file, self._keys, self._seed)

    def _measure(self, now_ns: int) -> RangeValue:
        bench = self._bench
        bench.carry()
        mount = self._mount
        pose = (*bench.to_field(mount.ahead, mount.left), bench.heading + mount.towards)
        rounds: Sequence[Round | Piece] = [*bench.pieces, *bench.solids.posts] if bench.solids.posts else bench.pieces
        return RangeValue(self._sonar.hear(self._sonar.nearest(pose, bench.solids.walls, rounds)))

    def _measure_with(self, fault: ReportsFault, now_ns: int) -> RangeValue:
        draws, least, most = self._fault_draws, self._keys.least, self._keys.most
        heard = self._measure(now_ns).distance
        if fault.says is not None:
            return RangeValue(clamp(fault.says, least, most))
        if fault.stray and draws.random() < fault.stray:
            return RangeValue(draws.uniform(least, most))
        if heard is None or (fault.missing and draws.random() < fault.missing):
            return RangeValue(None)
        said = heard * fault.factor + fault.bias + draws.gauss(0.0, fault.noise)
        return RangeValue(clamp(said, least, most))


class Camera(Reporter):
    """Camera with its detector. Frames come late; ``taken_ns`` is when the shutter was open."""

    FAMILY = "camera"

    def __init__(self, options: Mapping[str, Any], context: DriverContext) -> None:
        super().__init__(options, context)
        self._mount: Mount = self._keys.mount
        self._sight = Sight(self._bench.file, self._keys, self._seed)
        self._latency_ns = self._sight.latency_ns
        self._kinds = list(self._bench.errand.kinds)
        self._aside = 0.0
        self._equal = 1

    def _again(self) -> Detections | None:
        """Show the last frame again, until vision would take note of it: equal pictures are no report."""
        self._equal += 1
        return self._last if self._equal < FROZEN_AFTER else None

    def _measure(self, now_ns: int) -> Detections:
        self._equal = 1
        bench = self._bench
        bench.carry()
        mount = self._mount
        x, y = bench.to_field(mount.ahead, mount.left)
        looks = bench.heading + mount.towards + self._aside
        view = CameraPose(x, y, looks, bench.base.turn_rate, bench.base.acceleration)
        found = self._sight.frame(view, bench.pieces, bench.solids, bench.piece_in_jaws(), now_ns)
        false = self._sight.false_detection(self._kinds)
        place = bench.solids.marker
        marker = None if place is None else self._sight.marker(view, place, bench.solids, now_ns)
        return Detections((*found, *(extra for extra in (false, marker) if extra is not None)))

    def _measure_with(self, fault: ReportsFault, now_ns: int) -> Detections | None:
        if fault.dark:
            return None
        self._aside = fault.bias + self._fault_draws.gauss(0.0, fault.noise)
        seen = self._measure(now_ns).objects
        self._aside = 0.0
        return Detections(tuple(one for one in seen if self._fault_draws.random() >= fault.missing))


class Battery(Reporter):
    """Battery monitor: terminal voltage under load, and current."""

    FAMILY = "battery"

    def _measure(self, now_ns: int) -> BatteryValue:
        supply = self._bench.base.supply
        return BatteryValue(supply.volts, supply.amps)

    def _measure_with(self, fault: ReportsFault, now_ns: int) -> BatteryValue:
        return battery_with(fault, self._bench.base.supply, self._fault_draws)


class StopInput(Reporter):
    """Hard-wired stop input, normally closed."""

    FAMILY = "stop_input"

    def _measure(self, now_ns: int) -> StopInputValue:
        return CLOSED

    def _measure_with(self, fault: ReportsFault, now_ns: int) -> StopInputValue:
        return OPEN if fault.says is False else CLOSED


class Gripper(Reporter):
    """Servo gripper; it reports what its ``feedback`` can tell: position, or by current or switch that it holds."""

    FAMILY = "gripper"

    def __init__(self, options: Mapping[str, Any], context: DriverContext) -> None:
        self._feedback = options["feedback"]
        super().__init__(options, context)
        self._commands = Commanded(self.FAMILY, options, self._bench)
        self._wanted: float | None = math.nan  # nothing yet
        if self._feedback == "none":
            self._bench.unwatch(self._sample)

    def apply(self, command: JawsCommand, now_ns: int) -> None:
        """Turn the servo to the wanted opening. It keeps its last pulse: only a command that comes late is void.

        Raises:
            ValueError: the opening is not a number.
        """
        must_be_finite(command.opening or 0.0)
        bench = self._bench
        if now_ns >= bench.next_ns:
            bench.advance(now_ns)
        if now_ns > command.expires_ns or not (self._commands.is_well or self._commands.hears()):
            return
        if command.opening != self._wanted:
            self._wanted = command.opening
            bench.jaws(command.opening)

    def _measure(self, now_ns: int) -> JawsValue:
        return felt(self._bench.jaws_state, self._feedback)

    def _measure_with(self, fault: ReportsFault, now_ns: int) -> JawsValue:
        return jaws_with(fault, self._measure(now_ns))


class Drive:
    """Two motor channels."""

    def __init__(self, options: Mapping[str, Any], context: DriverContext) -> None:
        self._bench = bench_of(context)
        self._commands = Commanded("drive", options, self._bench)
        self._last: DriveCommand | None = None

    def apply(self, command: DriveCommand, now_ns: int) -> None:
        """Set the duties until the command expires.

        Raises:
            ValueError: a duty is not a number.
        """
        must_be_finite(command.left, command.right)
        bench = self._bench
        if now_ns >= bench.next_ns:
            bench.advance(now_ns)
        if self._commands.is_well:
            self._last = command
            bench.drive(command.left, command.right, command.expires_ns)
        elif self._commands.is_rebooting:
            bench.drive(0.0, 0.0, 0)
        elif self._commands.is_stuck and self._last is not None:
            bench.drive(self._last.left, self._last.right, NEVER_NS)
        elif self._commands.hears():
            bench.drive(command.left, command.right, command.expires_ns)

    def close(self) -> None:
        """Stop the motors; a drive that is stuck does not hear of it."""
        if not self._commands.is_stuck:
            self._bench.drive(0.0, 0.0, 0)


register_stand_ins(Drive, Counts, Heading, Range, Camera, Gripper, Battery, StopInput)
