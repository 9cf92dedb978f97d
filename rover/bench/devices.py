"""Stand-ins of the robot's devices, fed by the bench.

They measure at their stated rate on the bench's own clock and hand a report over when it has had time to arrive.
A device that names a ``link:`` shares that link's latency and stalls. Wiring options (``swap_sides``,
``reverse_left``, ``offset``) describe a real robot's build and change nothing here.
"""

import math
from collections import deque
from collections.abc import Mapping, Sequence
from typing import Any, ClassVar

from rover.bench.bench import Bench
from rover.bench.draws import NEVER_NS
from rover.bench.faults import on
from rover.bench.floor import Round
from rover.bench.motors import EMPTY
from rover.bench.objects import Piece
from rover.bench.orientation import Orientation
from rover.bench.sight import CameraPose, Sight
from rover.bench.sonar import Sonar
from rover.devices.gripper.keys import GripperKeys
from rover.devices.keys import SIMULATED
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
    Reading,
    StopInputValue,
    WheelCounts,
)
from rover.devices.registry import register_stand_ins
from rover.link.emulated_hardware import HardwareState
from rover.quantities import must_be_finite

CALIBRATED = 3
CLOSED, OPEN = StopInputValue(True), StopInputValue(False)


def _bench_of(context: DriverContext) -> Bench:
    if not isinstance(context.bench, Bench):
        raise ValueError("a simulated driver works in a rehearsal only; name a real driver in the robot file")
    return context.bench


class Reporter:
    """What the simulated sensors share: sampling, faults, latency and order of arrival. Any thread may poll."""

    FAMILY: ClassVar[str]

    def __init__(self, options: Mapping[str, Any], context: DriverContext) -> None:
        self._bench = _bench_of(context)
        self._on_link = options.get("link") is not None
        self._latency_ns = 0
        self._sequence = 0
        self._waiting: deque[tuple[int, Reading]] = deque()
        name = context.name or self.FAMILY
        self._keys: Any = context.robot.devices.fitted()[name]
        # The one that a family is named for draws as it always did; each further one draws for itself.
        self._seed = self._bench.seed if name == self.FAMILY else f"{self._bench.seed}/{name}"
        self._faults = self._bench.schedule.of(name)
        self._link_faults = self._bench.schedule.of("link") if self._on_link else ()
        self._bench.watch(options["rate"], self._sample)

    def poll(self, now_ns: int) -> Sequence[Reading]:
        """Advance the bench to ``now_ns``; return the reports that have arrived by then, oldest first."""
        if now_ns >= self._bench.next_ns:
            self._bench.advance(now_ns)
        waiting = self._waiting
        if not waiting or waiting[0][0] > now_ns:
            return ()
        arrived = [waiting.popleft()[1]]
        while waiting and waiting[0][0] <= now_ns:
            arrived.append(waiting.popleft()[1])
        return arrived

    def close(self) -> None:
        """Measure no more."""
        self._bench.unwatch(self._sample)

    def _sample(self, now_ns: int) -> None:
        fault = on(self._faults, now_ns) if self._faults else None
        if fault == "silent":
            return
        reading = Reading(now_ns, self._sequence, self._measure(now_ns, fault))
        self._sequence += 1
        if not self._on_link:
            self._waiting.append((now_ns + self._latency_ns, reading))
        elif not (self._link_faults and on(self._link_faults, now_ns)):
            self._waiting.append((self._bench.line.arrival_ns(now_ns), reading))

    def _measure(self, now_ns: int, fault: str | None) -> Any:
        """Return the value at ``now_ns``, with what the fault does to it."""
        raise NotImplementedError


class Counts(Reporter):
    """Wheel encoders."""

    FAMILY = "counts"

    def _measure(self, now_ns: int, fault: str | None) -> WheelCounts:
        left, right = self._bench.encoders
        base = self._bench.base
        if fault == "stuck":
            return WheelCounts(left.lose(base.left_travel), right.lose(base.right_travel))
        return WheelCounts(left.absorb(base.left_travel), right.absorb(base.right_travel))


class Heading(Reporter):
    """Absolute-orientation sensor: counter-clockwise from the field's x axis, plus its errors."""

    FAMILY = "heading"

    def __init__(self, options: Mapping[str, Any], context: DriverContext) -> None:
        super().__init__(options, context)
        self._orientation = Orientation(self._bench.file, self._seed)

    def _measure(self, now_ns: int, fault: str | None) -> HeadingValue:
        bench = self._bench
        angle = self._orientation.measure(bench.heading, (bench.x, bench.y), now_ns)
        return HeadingValue(angle, self._orientation.measure_rate(bench.base.turn_rate), CALIBRATED)


class Range(Reporter):
    """Ultrasonic range finder. Objects echo, the held one too; jaws do not."""

    FAMILY = "range"

    def __init__(self, options: Mapping[str, Any], context: DriverContext) -> None:
        super().__init__(options, context)
        self._mount: Mount = self._keys.mount
        self._sonar = Sonar(self._bench.file, self._keys, self._seed)

    def _measure(self, now_ns: int, fault: str | None) -> RangeValue:
        if fault == "no echo":
            return RangeValue(None)
        bench = self._bench
        bench.carry()
        mount = self._mount
        pose = (*bench.to_field(mount.ahead, mount.left), bench.heading + mount.towards)
        rounds: Sequence[Round | Piece] = [*bench.pieces, *bench.solids.posts] if bench.solids.posts else bench.pieces
        return RangeValue(self._sonar.hear(self._sonar.nearest(pose, bench.solids.walls, rounds)))


class Camera(Reporter):
    """Camera with its detector. Frames come late; ``taken_ns`` is when the shutter was open."""

    FAMILY = "camera"

    def __init__(self, options: Mapping[str, Any], context: DriverContext) -> None:
        super().__init__(options, context)
        self._mount: Mount = self._keys.mount
        self._sight = Sight(self._bench.file, self._keys, self._seed)
        self._latency_ns = self._sight.latency_ns
        self._kinds = list(self._bench.errand.kinds)
        zone = self._bench.errand.field.zone
        self._marker = zone.marker if zone is not None else None
        self._last = Detections(())

    def _measure(self, now_ns: int, fault: str | None) -> Detections:
        if fault == "frozen":
            return self._last
        bench = self._bench
        bench.carry()
        mount = self._mount
        x, y = bench.to_field(mount.ahead, mount.left)
        view = CameraPose(x, y, bench.heading + mount.towards, bench.base.turn_rate, bench.base.acceleration)
        found = self._sight.frame(view, bench.pieces, bench.solids, bench.piece_in_jaws(), now_ns)
        false = self._sight.false_detection(self._kinds)
        marker = None if self._marker is None else self._sight.marker(view, self._marker, bench.solids, now_ns)
        self._last = Detections((*found, *(extra for extra in (false, marker) if extra is not None)))
        return self._last


class Battery(Reporter):
    """Battery monitor: terminal voltage under load, and current."""

    FAMILY = "battery"

    def _measure(self, now_ns: int, fault: str | None) -> BatteryValue:
        supply = self._bench.base.supply
        if fault == "low":
            return BatteryValue(EMPTY * supply.full - supply.sag, supply.amps)
        return BatteryValue(supply.volts, supply.amps)


class StopInput(Reporter):
    """Hard-wired stop input, normally closed."""

    FAMILY = "stop_input"

    def _measure(self, now_ns: int, fault: str | None) -> StopInputValue:
        return OPEN if fault == "open" else CLOSED


class Gripper(Reporter):
    """Servo gripper; it reports what its ``feedback`` can tell: position, or by current or switch that it holds."""

    FAMILY = "gripper"

    def __init__(self, options: Mapping[str, Any], context: DriverContext) -> None:
        self._feedback = options["feedback"]
        super().__init__(options, context)
        self._actuator_faults = (*self._faults, *self._link_faults)
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
        if now_ns > command.expires_ns or (self._actuator_faults and on(self._actuator_faults, now_ns)):
            return
        if command.opening != self._wanted:
            self._wanted = command.opening
            bench.jaws(command.opening)

    def _measure(self, now_ns: int, fault: str | None) -> JawsValue:
        jaws = self._bench.jaws_state
        return JawsValue(jaws.opening if self._feedback == "position" else None, jaws.held is not None)


class Drive:
    """Two motor channels."""

    def __init__(self, options: Mapping[str, Any], context: DriverContext) -> None:
        self._bench = _bench_of(context)
        schedule = self._bench.schedule
        self._faults = schedule.of("drive") + (schedule.of("link") if options.get("link") is not None else ())

    def apply(self, command: DriveCommand, now_ns: int) -> None:
        """Set the duties until the command expires.

        Raises:
            ValueError: a duty is not a number.
        """
        must_be_finite(command.left, command.right)
        bench = self._bench
        if now_ns >= bench.next_ns:
            bench.advance(now_ns)
        if not (self._faults and on(self._faults, now_ns)):
            bench.drive(command.left, command.right, command.expires_ns)

    def close(self) -> None:
        """Stop the motors."""
        self._bench.drive(0.0, 0.0, 0)


class BenchHardware:
    """The bench as the co-processor emulator of a wired rehearsal meets it. Any thread may call."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self._orientation = Orientation(bench.file, bench.seed)
        self._gripper = bench.robot.devices.gripper or GripperKeys.model_validate({"driver": SIMULATED})

    def sample(self, now_ns: int) -> HardwareState:
        """Return what the sensors on the co-processor measure at ``now_ns``."""
        bench = self._bench
        bench.advance(now_ns)
        with bench.lock:
            base, jaws = bench.base, bench.jaws_state
            left, right = bench.encoders
            heading = self._orientation.measure(bench.heading, (bench.x, bench.y), bench.now_ns)
            return HardwareState(
                left.absorb(base.left_travel),
                right.absorb(base.right_travel),
                heading,
                self._orientation.measure_rate(base.turn_rate),
                CALIBRATED,
                base.supply.volts,
                base.supply.amps,
                jaws.opening,
                jaws.held is not None,
            )

    def drive(self, left: float, right: float, now_ns: int) -> None:
        """Set the duties from now on; the deadline of a command is the emulator's."""
        self._bench.advance(now_ns)
        self._bench.drive(left, right, NEVER_NS)

    def servo(self, pulse_s: float | None, now_ns: int) -> None:
        """Turn the servo by its pulse (s), mapped by the robot file's ``open`` and ``closed``; None: limp."""
        self._bench.advance(now_ns)
        gripper = self._gripper
        span = gripper.open - gripper.closed
        self._bench.jaws(None if pulse_s is None or span == 0.0 else (pulse_s - gripper.closed) / span)


register_stand_ins(Drive, Counts, Heading, Range, Camera, Gripper, Battery, StopInput)
