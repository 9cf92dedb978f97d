"""The step: readings in, commands out. No I/O, no clock: the same readings give the same decisions.

Read `Core.step` from top to bottom and you have followed a reading from a driver to a motor.
"""

import math
from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

from rover.activities.activity import Activity, Knowledge
from rover.activities.fixing import SightMarker
from rover.behaviour.engine import Ending, Engine
from rover.behaviour.model import BehaviourGraph
from rover.behaviour.vocabulary import Progress, Signals
from rover.core.health import HealthWatch
from rover.core.performer import ActivityPerformer
from rover.devices.readings import MARKER, Detection, DriveCommand, JawsCommand, Reading
from rover.errand.ledger import Ledger
from rover.estimate.field import Ground, LookedAt, ground_of
from rover.estimate.fixes import MarkerSighting, fix_by_marker, fix_by_wall, wall_ahead
from rover.estimate.odometry import Odometer
from rover.estimate.pose import Errors, PoseFilter
from rover.events import Event, HoldBack, Note, Stop, TrackPoint
from rover.files.errand import Errand
from rover.files.robot import Range, Robot
from rover.geometry import Pose, inside
from rover.motion.limits import Allowed, EchoMemory, Limits, Situation, StopLatch
from rover.motion.request import STILL, Request
from rover.motion.wheels import wheel_controls
from rover.vision.targets import FieldOfView, Sighting, TargetMemory, sight

START_SIGMAS = (0.02, 0.02, math.radians(3.0))
"""How well a person sets the robot down at its start: m, m, rad."""
MOVED_SIGMAS = (0.10, 0.10, math.radians(8.0))
"""How far changing the battery may have moved it from where it stood: m, m, rad."""
ERROR_GROWTH = 1e-4
"""Metres of variance per metre travelled by a wheel, for odometry on a hard floor."""
WALL_FIX_EVERY_NS = 300_000_000
"""Echoes from one wall err alike, so only so many of them count."""
SIGMA_EVERY_NS = 200_000_000
"""How unsure the pose is changes slowly, and costs more to work out than the pose itself."""
FIX_WORTH_NOTING = 0.02
"""A fix that moves the estimate by more than this (m) is noted in the run record."""
STEADY_TURN_RATE = 0.35
"""Slower than this (rad/s) a frame is sharp enough for absence to mean something."""
LOOKING_SHARE = 0.75
"""Ground counts as looked at out to this share of the camera's farthest sight."""
NO_FIX = "the tray's marker was not sighted; set the robot down where it sees the marker, then reset and resume"
JAWS_WINDOW = (0.055, 0.04)
"""A sighting so near the middle of the jaws, ahead and aside (m), stands between them."""


class Action(NamedTuple):
    """What an operator or the motor guard did: ``stop`` (with its cause), ``reset``, ``resume``, ``hold``, ``answer``.

    The value of an answer is ``yes`` or ``no``.
    """

    kind: str
    value: str = ""


class StepReadings(NamedTuple):
    """All that a step sees.

    Attributes:
        now_ns: time of the step.
        new: (device family, reading), ordered by family and sequence.
        faults: (device family, why) of drivers that gave up since the last step.
        actions: what operators did since the last step.
    """

    now_ns: int
    new: Sequence[tuple[str, Reading]] = ()
    faults: Sequence[tuple[str, str]] = ()
    actions: Sequence[Action] = ()


class StepRecord(NamedTuple):
    """What a step decided. ``jaws`` is None until a first jaw command; ``events`` are in the order they happened."""

    now_ns: int
    drive: DriveCommand
    jaws: JawsCommand | None
    state: str
    events: tuple[Event, ...]
    ending: Ending | None


class Core:
    """One run. Not safe for use by several threads.

    Args:
        robot, errand, graph, activities: what it is to do, and with what.
        seed: of the activities' random draws.
        saved: what `Core.saved` of an earlier run returned, to take the errand up again. The pose is then wider, and
            before the behaviour begins the tray's marker is sighted; where there is none, the robot has to stand at
            the errand's start.

    Raises:
        KeyError, TypeError, ValueError: ``saved`` does not belong to this errand.
    """

    def __init__(
        self,
        robot: Robot,
        errand: Errand,
        graph: BehaviourGraph,
        activities: Mapping[str, type[Activity]],
        seed: int,
        saved: Mapping[str, Any] | None = None,
    ) -> None:
        widest = max((kind.width for kind in errand.kinds.values()), default=0.05)
        ground = ground_of(errand.field, widest, errand.expect)
        drive, heading, field = robot.devices.drive, robot.devices.heading, errand.field
        counts = robot.devices.counts
        self._robot = robot
        self._odometer = Odometer(robot.body.metres_per_count, drive.top_speed, (counts.left_scale, counts.right_scale))
        self._fix_due = saved is not None and _can_sight_marker(robot, ground)
        start, sigmas = _start(errand, saved if self._fix_due else None)
        self._filter = PoseFilter(
            start,
            robot.body.effective_track,
            Errors(sigmas, ERROR_GROWTH, heading.sigma if heading else 1.0, field.heading_error),
        )
        self.signals = Signals()
        self.signals.operator_chooses = errand.order == "ask"
        self.signals.motion_held_back_for = 0.0
        self.targets = TargetMemory(_field_of_view(robot))
        self.ledger = Ledger(errand, ground, LookedAt(ground))
        if saved is not None:
            self.ledger.restore(saved["ledger"])
        self.known = Knowledge(
            robot, errand, ground, self._filter, self.signals, self.targets, self.ledger, self._filter.pose
        )
        self.stop = StopLatch()
        self._limits = Limits(robot, ground)
        self._echo = EchoMemory(_front_of_body(robot))
        self._left_wheel, self._right_wheel = wheel_controls(robot)
        self._performer = ActivityPerformer(self.known, activities, seed)
        self.engine = Engine(graph, self._performer)
        self._first_fix: SightMarker | None = None
        self._health = HealthWatch(robot, self.signals)
        self._sequence = 0
        self._last_ns: int | None = None
        self._passed_ns = 0
        self._behaviour_ns = 0
        self._held = self._resumed = False
        self._looked_from: tuple[float, float, float] | None = None
        self._fresh_counts = False
        self._errand_changed = True
        self._next_wall_fix_ns = self._next_sigma_ns = 0
        self._duties = (0.0, 0.0)
        self._command_ns = int(robot.limits.command_lasts * 1e9)

    @property
    def pose(self) -> Pose:
        """The estimated pose."""
        return self.known.pose

    def covariance(self) -> tuple[float, float, float, float, float, float]:
        """Return (xx, xy, xt, yy, yt, tt) of the pose: m^2, m rad, rad^2."""
        return self._filter.covariance(self.known.now_ns)

    @property
    def fix_due(self) -> bool:
        """The errand is taken up again, and the marker has not been sighted yet."""
        return self._fix_due

    @property
    def refusals(self) -> dict[str, int]:
        """How many readings the gates refused, and conditions that could not be worked out."""
        return {
            "counts": self._odometer.refused,
            "heading": self._filter.refused,
            "slip": self._filter.slips,
            "impossible": self._health.impossible,
            "unknown conditions": self.engine.unknowns,
        }

    def saved(self, point: TrackPoint) -> dict[str, Any]:
        """Return what a later run needs to take the errand up again, as plain values; ``point`` is the latest one."""
        return {
            "pose": [point.x, point.y, point.heading],
            "sigmas": [point.sigma_x, point.sigma_y, point.sigma_heading],
            "ledger": self.ledger.saved(),
        }

    def track_point(self) -> TrackPoint:
        """Return where the robot believes to be, for the record."""
        pose = self.known.pose
        return TrackPoint(*pose, *self._filter.sigmas, self.engine.path)

    def step(self, readings: StepReadings) -> StepRecord:
        """Take one step: readings -> estimate -> signals -> behaviour -> activity -> limits -> commands."""
        known, now_ns = self.known, readings.now_ns
        self._advance(now_ns)
        known.events.clear()
        self._estimate(readings)
        known.pose = self._filter.pose_at(now_ns)
        self._health.look(now_ns, readings.faults, known.events)
        if readings.actions:
            self._operate(readings.actions)
        self._fill_signals()
        return self._command(self._limit(self._behave()))

    def _advance(self, now_ns: int) -> None:
        last_ns = self._last_ns
        self._passed_ns = now_ns - last_ns if last_ns is not None and now_ns > last_ns else 0
        self._last_ns = self.known.now_ns = now_ns
        self.known.seconds = self._passed_ns * 1e-9

    def _estimate(self, readings: StepReadings) -> None:
        self._fresh_counts = False
        for device, reading in readings.new:
            if not self._health.accept(device, reading, readings.now_ns):
                continue
            match device:
                case "counts":
                    self._take_counts(reading)
                case "heading":
                    self._take_heading(reading)
                case "range":
                    self._take_range(reading)
                case "camera":
                    self._take_frame(reading)
                case "battery":
                    self._take_battery(reading)
                case "gripper":
                    self.signals.jaws_opening = _or_nan(reading.value.opening)
                    self.signals.jaws_holding = bool(reading.value.holding)
                case "stop_input":
                    if not reading.value.closed and self.stop.stop("the stop input is open"):
                        self.known.events.append(Stop("the stop input is open"))

    def _take_heading(self, reading: Reading) -> None:
        angle, rate, calibration = reading.value
        self._filter.see_heading(angle, rate, reading.taken_ns)
        self.signals.heading_calibration = calibration or 0

    def _take_counts(self, reading: Reading) -> None:
        travel = self._odometer.travel(reading)
        if travel is None:
            self._filter.lost(0.01)
            return
        left, right, seconds = travel
        self._filter.drive(left, right, seconds, reading.taken_ns)
        if reading.taken_ns >= self._next_sigma_ns:
            self._next_sigma_ns = reading.taken_ns + SIGMA_EVERY_NS
            self._filter.propagate()
            self.signals.pose_sigma, self.signals.pose_heading_sigma = self._filter.sigma, self._filter.heading_sigma
        self._echo.moved(0.5 * (left + right), (right - left) / self._filter.track)
        self._fresh_counts = True

    def _take_range(self, reading: Reading) -> None:
        self._echo.hear(reading.value)
        distance = reading.value.distance
        sensor = self._robot.devices.range
        assert sensor is not None
        self.signals.range_echo = distance is not None
        self.signals.range_distance = sensor.no_echo_distance if distance is None else distance
        if distance is not None and self.ledger.carried is None and reading.taken_ns >= self._next_wall_fix_ns:
            self._next_wall_fix_ns = reading.taken_ns + WALL_FIX_EVERY_NS
            self._fix_by_wall(distance, reading.taken_ns, sensor)

    def _fix_by_wall(self, distance: float, taken_ns: int, sensor: Range) -> None:
        pose, walls = self._filter.at(taken_ns), self.ledger.ground.walls
        view = wall_ahead(pose, sensor.ahead, 0.5 * sensor.beam, walls, self.known.things)
        if view is not None:
            before = self._filter.pose
            if fix_by_wall(self._filter, view, sensor.ahead, distance):
                self.ledger.wall_fixes += 1
                self._note_fix("a wall", before)

    def _fix_by_marker(self, seen: Detection, pose: Pose) -> None:
        marker, before = self.ledger.ground.marker, self._filter.pose
        if marker is None:
            return
        sighting = MarkerSighting(seen.bearing, seen.distance, seen.bearing_sigma, seen.distance_sigma)
        if fix_by_marker(self._filter, pose, self.targets.view.ahead, marker, sighting):
            self.ledger.marker_fixes += 1
            self._note_fix("the marker", before)

    def _note_fix(self, what: str, before: Pose) -> None:
        after = self._filter.pose
        if math.hypot(after.x - before.x, after.y - before.y) > FIX_WORTH_NOTING:
            text = f"by {what}: from x {before.x:.3f} m, y {before.y:.3f} m to x {after.x:.3f} m, y {after.y:.3f} m"
            self.known.events.append(Note("fix", f"{text}, sigma now {self._filter.sigma:.3f} m"))

    def _take_battery(self, reading: Reading) -> None:
        battery = self._robot.devices.battery
        assert battery is not None
        volts, amps = reading.value
        if amps is None:
            amps = battery.load_at_full_duty * 0.5 * (abs(self._duties[0]) + abs(self._duties[1]))
        self.signals.battery_volts = volts
        self.signals.battery_rest_volts = volts + amps * battery.inner_resistance

    def _take_frame(self, reading: Reading) -> None:
        """Bring a frame's detections into the field, and let the target memory and the search have them."""
        pose = self._filter.at(reading.taken_ns)
        sigma = min(self._filter.sigma, 0.05)
        closed = self.known.jaws is not None and self.known.jaws < 0.5
        free: list[Sighting] = []
        in_jaws = False
        for one in reading.value.objects:
            if one.kind == MARKER:
                self._fix_by_marker(one, pose)
                continue
            sighting = sight(one, self.targets.view, pose, sigma)
            if closed and self._between_jaws(sighting):
                in_jaws = True
            elif self._is_candidate(sighting):
                free.append(sighting)
        steady = abs(self._filter.heading_rate) < STEADY_TURN_RATE
        self.targets.update(free, pose, steady)
        if self.ledger.carried is None:
            self.targets.choose(pose, self.ledger.kinds_now())
        if steady and not closed:
            self._look(pose)
        self._fill_target(free, in_jaws)
        self._errand_changed = True

    def _between_jaws(self, one: Sighting) -> bool:
        reach = self._robot.body.gripper_reach
        slack = min(0.03, 2.0 * one.detection.distance_sigma)
        return abs(one.ahead - reach) < JAWS_WINDOW[0] + slack and abs(one.left) < JAWS_WINDOW[1] + 0.01

    def _is_candidate(self, one: Sighting) -> bool:
        ledger, kind = self.ledger, one.detection.kind
        if kind not in ledger.errand.kinds or not inside((one.x, one.y), ledger.ground.boundary):
            return False
        return not ledger.is_done_with(kind, one.x, one.y, math.sqrt(max(one.xx, one.yy)))

    def _look(self, pose: Pose) -> None:
        """Count the ground in view as looked at, once for each place and direction."""
        last = self._looked_from
        if (
            last is not None
            and abs(pose.x - last[0]) + abs(pose.y - last[1]) < 0.15
            and abs(pose.heading - last[2]) < 0.15
        ):
            return
        self._looked_from = pose
        view = self.targets.view
        self.ledger.looked_at.look(view.place(pose), pose.heading, view.half_view, LOOKING_SHARE * view.reach)

    def _fill_target(self, free: Sequence[Sighting], in_jaws: bool) -> None:
        signals, chosen = self.signals, self.targets.chosen
        seen = self.targets.seen
        if chosen is None:
            seen = min(free, key=lambda one: one.detection.distance, default=None)
        signals.target_seen = seen is not None
        signals.target_distance = math.nan if seen is None else math.hypot(seen.ahead, seen.left)
        signals.target_bearing = math.nan if seen is None else math.atan2(seen.left, seen.ahead)
        gripper = self._robot.devices.gripper
        told = gripper is not None and gripper.feedback != "none" and signals.gripper_ok
        signals.target_in_jaws = in_jaws and (signals.jaws_holding if told else True)

    def _operate(self, actions: Sequence[Action]) -> None:
        # A stop wins over whatever else comes in the same step, in whatever order.
        for action in sorted(actions, key=lambda action: action.kind == "stop"):
            match action.kind:
                case "stop":
                    if self.stop.stop(action.value or "operator"):
                        self.known.events.append(Stop(self.stop.cause or ""))
                case "reset":
                    self.stop.reset()
                    self._limits.forget()
                case "hold":
                    self._held = True
                case "resume":
                    if self.stop.resume() or (self._held and not self.stop.stopped):
                        self._held = False
                        self._resumed = True
                case "answer":
                    self.known.answer = self.signals.operator_answer = action.value

    def _fill_signals(self) -> None:
        signals, known = self.signals, self.known
        signals.step_ns = known.now_ns
        signals.run_time = self._behaviour_ns * 1e-9
        signals.pose_x, signals.pose_y, signals.pose_heading = known.pose
        signals.pose_travelled = self._filter.travelled
        causes = self._limits.causes
        if causes or signals.motion_held_back:
            known.obstacle = signals.motion_obstacle = "obstacle" in causes
            in_the_way = known.obstacle or "boundary" in causes
            known.held_back_for = known.held_back_for + known.seconds if in_the_way else 0.0
            signals.motion_held_back = bool(causes)
            signals.motion_held_back_for = signals.motion_held_back_for + known.seconds if causes else 0.0
        if self._errand_changed:
            self._errand_changed = False
            self._fill_errand_signals()

    def _fill_errand_signals(self) -> None:
        """Bring the signals up to date that only a frame or an activity's deed can change."""
        signals, ledger, targets = self.signals, self.ledger, self.targets
        chosen = targets.chosen
        signals.target_known = chosen is not None
        signals.target_kind = chosen.kind if chosen is not None else "none"
        known = sum(one.known for one in targets.objects)
        signals.objects_known = known
        signals.objects_left = ledger.left(known)
        signals.objects_delivered = len(ledger.delivered)
        signals.objects_put_off = len(ledger.put_off)
        signals.slots_free = len(ledger.ground.slots) - len(ledger.filled)
        signals.field_searched = ledger.looked_at.all

    def _behave(self) -> Request:
        """Step the behaviour and its activity; under a stop or hold neither steps, and time stands still for them."""
        engine = self.engine
        if self.stop.stopped or self._held or engine.ending is not None:
            return STILL
        if not engine.path and self._fix_due:
            return self._take_first_fix()
        if not engine.path:
            engine.begin(self._behaviour_ns, self.signals)
        elif self._resumed:
            engine.resume(self._behaviour_ns, self.signals)
        else:
            self._behaviour_ns += self._passed_ns
            engine.step(self._behaviour_ns, self.signals)
        self._resumed = False
        if engine.changes:
            self.known.events.extend(engine.changes)
            engine.changes.clear()
            self._errand_changed = True
        if engine.ending is not None:
            return STILL
        request = self._performer.step(engine)
        if self.known.events:
            self._errand_changed = True
        return request

    def _take_first_fix(self) -> Request:
        """Sight the marker before the behaviour begins; without it the robot stops, and tries again once resumed."""
        if self._first_fix is None:
            self._first_fix = SightMarker(self.known, {})
        request = self._first_fix.step(self.known)
        if self._first_fix.progress is Progress.DONE:
            self._fix_due = False
            self.known.events.append(Note("fix", f"by the marker: sigma now {self._filter.sigma:.3f} m"))
        elif self._first_fix.progress is Progress.FAILED:
            self._first_fix = None
            self.stop.stop(NO_FIX)
            self.known.events.append(Stop(NO_FIX))
        return request

    def _limit(self, request: Request) -> Allowed:
        limits, before, known = self._limits, self._limits.causes, self.known
        if self.stop.stopped:
            return limits.stop()
        standstill = self._health.why_stand_still(known.now_ns)
        situation = Situation(known.now_ns, known.seconds, known.pose, self._echo.gap, standstill)
        allowed = limits.apply(request, situation)
        if limits.causes != before:
            known.events.extend(HoldBack(cause) for cause in limits.causes if cause not in before)
            known.events.extend(HoldBack(cause, ended=True) for cause in before if cause not in limits.causes)
            if limits.too_many() and self.stop.stop("held back too often"):
                known.events.append(Stop("held back too often"))
                return limits.stop()
        return allowed

    def _command(self, allowed: Allowed) -> StepRecord:
        self._sequence += 1
        known = self.known
        now_ns, seconds = known.now_ns, known.seconds
        if allowed.jaws is not None:
            known.jaws = allowed.jaws
        self._filter.suppose(allowed.speed, allowed.turn_rate, seconds)
        left, right = self._wheel_speeds(allowed)
        odometer = self._odometer
        fresh = self._fresh_counts
        self._duties = (
            self._left_wheel.duty(left, odometer.speed_left if fresh else None, seconds),
            self._right_wheel.duty(right, odometer.speed_right if fresh else None, seconds),
        )
        expires = now_ns + self._command_ns
        drive = DriveCommand(*self._duties, self._sequence, expires)
        jaws = None if known.jaws is None else JawsCommand(known.jaws, self._sequence, expires)
        return StepRecord(now_ns, drive, jaws, self.engine.path, tuple(known.events), self.engine.ending)

    def _wheel_speeds(self, allowed: Allowed) -> tuple[float, float]:
        """Return the two sides' speeds (m/s); both are scaled down where one would have to be faster than it can."""
        half = 0.5 * allowed.turn_rate * self._filter.track
        left, right = allowed.speed - half, allowed.speed + half
        fastest = abs(allowed.speed) + abs(half)
        most = 0.95 * self._robot.devices.drive.top_speed
        if fastest > most:
            left, right = left * most / fastest, right * most / fastest
        return left, right


def _can_sight_marker(robot: Robot, ground: Ground) -> bool:
    """Tell whether the tray has a marker and the robot a camera to see it."""
    return ground.marker is not None and robot.devices.camera is not None


def _start(errand: Errand, saved: Mapping[str, Any] | None) -> tuple[Pose, tuple[float, float, float]]:
    """Return the pose to begin with, and its standard deviations (m, m, rad)."""
    if saved is None:
        start = errand.field.start
        return Pose(start.x, start.y, start.heading or 0.0), START_SIGMAS
    x, y, heading = map(float, saved["pose"])
    sx, sy, st = (math.hypot(float(then), moved) for then, moved in zip(saved["sigmas"], MOVED_SIGMAS, strict=True))
    return Pose(x, y, heading), (sx, sy, st)


def _front_of_body(robot: Robot) -> float:
    """Return how far (m) the jaws reach ahead of the range finder's face."""
    sensor = robot.devices.range
    front = max(0.5 * robot.body.length, robot.body.gripper_reach)
    return 0.0 if sensor is None else max(0.0, front - sensor.ahead)


def _field_of_view(robot: Robot) -> FieldOfView:
    camera = robot.devices.camera
    if camera is None:
        return FieldOfView(0.0, 0.0, 1.0, 0.0)
    return FieldOfView(camera.ahead, 0.5 * camera.field_of_view, camera.sees_to, 0.12)


def _or_nan(value: float | None) -> float:
    return math.nan if value is None else value
