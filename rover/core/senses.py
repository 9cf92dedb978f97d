"""Each device's new readings, brought into the estimate, the echoes, the targets and the signals."""

import math
from typing import Any

from rover.activities.activity import Knowledge
from rover.activities.places import jaws_place
from rover.core.cross_checks import LATE_NS, CrossChecks
from rover.core.health import HealthWatch
from rover.core.interface import StepReadings
from rover.core.position_fixes import PositionFixes
from rover.core.stopping import Stopping
from rover.core.targeting import Targeting
from rover.devices.range.keys import RangeKeys
from rover.devices.readings import MARKER, RangeValue, Reading
from rover.estimate.odometry import Odometer
from rover.estimate.walls_heard import is_explained, to_walls
from rover.geometry import Pose
from rover.kinds import NOT_KNOWN
from rover.motion.carriage import Carriage
from rover.motion.echo import ALONG
from rover.motion.heard import Arc

COUNTS_LOST = 0.01
"""Metres of doubt for counts that cannot be: a restarted device, a jump."""
LOBE = math.radians(15.0)
"""A wall is flat, and heard so far (rad) beyond the edges of the cone that a post is heard in."""
AT_WALL = 0.1
"""What is heard so near (m) before a known wall, or beyond it, is no other thing: the map may err a little."""
SIGMA_EVERY_NS = 200_000_000
"""How unsure the pose is changes slowly, and costs more to work out than the pose itself."""
TOLD_WITHIN_NS = 60_000_000
"""Frames are held against the robot's turning where that is told to within this of when they were taken."""
NOTHING_NEAR = RangeValue(100.0)
"""What an echo from a known wall tells of what else is in the way."""
STOP_INPUT_OPEN = "the stop input is open"


class Senses:
    """Takes a step's readings in, device by device.

    Attributes:
        odometer: the wheels' travel and speeds by their counts.
        duties: what the motor channels were given last, for the battery's voltage at rest.
        fresh_counts: counts came in with this step.
        fresh_frame: a frame came in with this step.
    """

    def __init__(
        self,
        known: Knowledge,
        health: HealthWatch,
        carriage: Carriage,
        stopping: Stopping,
        targeting: Targeting,
        checks: CrossChecks,
    ) -> None:
        robot = known.robot
        counts = robot.devices.counts
        self.odometer = Odometer(
            robot.body.metres_per_count, robot.devices.drive.top_speed, (counts.left_scale, counts.right_scale)
        )
        self.duties = (0.0, 0.0)
        self.fresh_counts = self.fresh_frame = False
        self._known, self._health, self._carriage, self._stopping = known, health, carriage, stopping
        self._targeting, self._checks = targeting, checks
        self._range_finders = robot.devices.of_family("range")
        self._fixes = PositionFixes(known, checks)
        self._next_sigma_ns = 0

    def take(self, readings: StepReadings) -> None:
        """Take a step's readings in, then bring pose and health up to date.

        They are taken in the order in which they were taken: after a stall of the link come all counts at once, then
        all turn rates, and each says how the robot moved while the other counted.
        """
        known = self._known
        known.grip.commanded(known.jaws, readings.now_ns)
        self.fresh_counts = self.fresh_frame = False
        for device, reading in sorted(readings.new, key=_taken_ns):
            if not self._health.accept(device, reading, readings.now_ns):
                continue
            if device in ("counts", "heading") and readings.now_ns - reading.taken_ns > LATE_NS:
                self._checks.lose_track()
            match device:
                case "counts":
                    self._take_counts(reading)
                case "heading":
                    self._take_heading(reading)
                case "camera":
                    self._take_frame(reading)
                case "battery":
                    self._take_battery(reading)
                case "gripper":
                    known.signals.jaws_opening = _or_unknown(reading.value.opening)
                    known.signals.jaws_holding = _or_unknown(reading.value.holding)
                    known.grip.feel(reading.value, reading.taken_ns)
                case "stop_input":
                    if not reading.value.closed:
                        self._stopping.stop(STOP_INPUT_OPEN)
                case _ if isinstance(reading.value, RangeValue):
                    self._take_echo(device, reading)
                case _:
                    self._carriage.take(device, reading.value)
        if self._checks.found or self._checks.why_stop:
            self._doubt()
        known.pose = known.filter.pose_at(readings.now_ns)
        if self.fresh_counts:
            known.explored.stand(known.pose, readings.now_ns)
        self._health.look(readings.now_ns, readings.faults, known.events)
        self._look_at_grip()

    @property
    def speeds(self) -> tuple[float | None, float | None]:
        """The two sides' speeds (m/s) by this step's counts, None without fresh ones, or with doubted ones."""
        lying = self._checks.lying_side
        return (
            self.odometer.speed_left if self.fresh_counts and lying != "left" else None,
            self.odometer.speed_right if self.fresh_counts and lying != "right" else None,
        )

    def drive(self, duties: tuple[float, float], told: tuple[float, float]) -> None:
        """Note what the motor channels are given until the next step, and the speeds (m/s) that the wheels are told."""
        self.duties = duties
        self._checks.drive(duties, told, self._known.seconds)

    def _doubt(self) -> None:
        """Have known what no longer is believed; where nobody knows any more where the robot goes, it stops."""
        checks = self._checks
        known = self._known
        for device, why, turned, moves in checks.found:
            self._health.doubt(device, why, known.events)
            if turned:
                known.filter.lost(turned * known.fixes.marker_from)
            if moves:
                known.filter.take_back(moves)
        checks.found.clear()
        if checks.why_stop:
            self._stopping.stop(checks.why_stop)
            checks.why_stop = ""

    def _look_at_grip(self) -> None:
        """Bring ``grip.held`` up to date: a report of it is a look of all who can tell now."""
        grip, signals = self._known.grip, self._known.signals
        if grip.look(self._can_tell) and grip.latest.is_held:
            self._known.ledger.held(*jaws_place(self._known))
        signals.grip_ok = grip.is_telling
        if signals.grip_n != grip.looks:
            signals.grip_n, signals.grip_t = grip.looks, grip.latest.taken_ns
            signals.grip_held = _or_unknown(grip.latest.is_held)
            _tell_grip(self._known)

    def _can_tell(self, device: str) -> bool:
        """Tell whether a device is healthy, and not doubted because others contradict it."""
        signals = self._known.signals
        return bool(getattr(signals, f"{device}_ok")) and not getattr(signals, f"{device}_doubted")

    def _take_heading(self, reading: Reading) -> None:
        checks, pose_filter = self._checks, self._known.filter
        believed = checks.takes_angle, checks.takes_rate
        checks.tell(reading.value, reading.taken_ns)
        if believed != (checks.takes_angle, checks.takes_rate):
            pose_filter.turned_unseen(checks.unseen_turn(pose_filter.track))
        angle, rate, _ = reading.value
        if checks.takes_angle:
            pose_filter.see_heading(angle, rate if checks.takes_rate else None, reading.taken_ns)
        elif checks.takes_rate and rate is not None:
            pose_filter.see_rate(rate, reading.taken_ns)

    def _take_counts(self, reading: Reading) -> None:
        restarts, rebased = self.odometer.restarts, self.odometer.rebased
        travel, pose_filter = self.odometer.travel(reading), self._known.filter
        if travel is None:
            pose_filter.lost(COUNTS_LOST)
            if self.odometer.rebased > rebased:
                pose_filter.never_told(reading.taken_ns)
            if self.odometer.restarts > restarts:
                self._known.note("restart", "counts: the device that counts has restarted, and begins from zero")
            return
        left, right = self._drive(*travel, reading.taken_ns)
        if reading.taken_ns >= self._next_sigma_ns:
            self._next_sigma_ns = reading.taken_ns + SIGMA_EVERY_NS
            pose_filter.propagate()
            signals = self._known.signals
            signals.pose_sigma, signals.pose_heading_sigma = pose_filter.position_doubt.worst, pose_filter.sigmas[2]
        self._carriage.moved(left, right, pose_filter.track)
        self._known.grip.moved(0.5 * (left + right))
        self.fresh_counts = True

    def _drive(self, left: float, right: float, seconds: float, taken_ns: int) -> tuple[float, float]:
        """Move the estimate, and return what is believed of the ways (m) that were counted: a side whose counts lie
        went as the other and the turn rate say."""
        checks, pose_filter = self._checks, self._known.filter
        unsure = checks.count(left, right, seconds)
        if unsure.way:
            pose_filter.lost(unsure.way)
        if unsure.stood:
            self._carriage.stood()
        pose_filter.unseen.suspect(*checks.in_question)
        if not checks.lying_side:
            pose_filter.drive(left, right, seconds, taken_ns)
            return left, right
        is_left = checks.lying_side == "right"
        pose_filter.drive_by_one(left if is_left else right, is_left, seconds, taken_ns)
        ahead = pose_filter.heading_rate * seconds * pose_filter.track
        return (left, left + ahead) if is_left else (right - ahead, right)

    def _take_echo(self, device: str, reading: Reading) -> None:
        """Let the limits hear it, and fix the position by a known wall, if that is what the range finder hears."""
        known, distance, sensor = self._known, reading.value.distance, self._range_finders[device]
        if known.now_ns - reading.taken_ns > sensor.overdue_after * 1e9:
            return  # it waited somewhere, and tells nothing of what is there now
        if self._checks.is_doubted(device):
            known.heard.doubt(device)
            return
        face, walls = _look_at_walls(known, sensor, reading)
        is_of_wall = distance is not None and is_explained(distance, walls)
        self._carriage.take(device, NOTHING_NEAR if is_of_wall else reading.value)
        known.grip.hear(device, reading.value, reading.taken_ns)
        if known.loaded and math.cos(sensor.mount.towards) >= ALONG:
            return  # it hears what is carried
        if not known.filter.knows(reading.taken_ns):
            return
        known.explored.hear(device, distance, reading.taken_ns, known.filter.at)
        if distance is None or is_of_wall:
            known.heard.hear_other(device)
        else:
            _hear_thing(known, Arc(device, face, distance, 0.5 * sensor.beam, reading.taken_ns))
        self._fixes.hear(device, sensor, reading)

    def _take_battery(self, reading: Reading) -> None:
        """Where no current is measured, take what the motors were given for it."""
        battery, (volts, amps) = self._known.robot.devices.battery, reading.value
        if battery is not None and amps is None:
            load = battery.load_at_full_duty * 0.5 * (abs(self.duties[0]) + abs(self.duties[1]))
            self._known.signals.battery_rest_volts = volts + load * battery.inner_resistance
        self._checks.measure(reading.value)

    def _take_frame(self, reading: Reading) -> None:
        """Fix the position by the marker, if it is in the frame, and let the targeting have the rest."""
        known, objects = self._known, []
        pose, is_placed = known.filter.at(reading.taken_ns), known.filter.knows(reading.taken_ns)
        told_ns = max(known.signals.heading_t, known.signals.counts_t)
        if is_placed and not known.loaded and reading.taken_ns <= told_ns + TOLD_WITHIN_NS:
            self._checks.see(reading.value.objects, pose.heading, reading.taken_ns)
        for one in () if self._checks.is_doubted("camera") else reading.value.objects:
            if one.kind != MARKER:
                objects.append(one)
            elif is_placed:
                self._fixes.see(one, reading.taken_ns)
        self._targeting.see(objects, reading.taken_ns)
        known.grip.see(is_between=known.between_jaws is not None, taken_ns=reading.taken_ns)
        self.fresh_frame = True


def _look_at_walls(known: Knowledge, sensor: RangeKeys, reading: Reading) -> tuple[Pose, list[float]]:
    """Return where a range finder's face was, and how far (m) known walls in its cone were: the map tells of those."""
    if reading.value.distance is None or not known.filter.knows(reading.taken_ns):
        return known.pose, []
    face = sensor.mount.on(known.filter.at(reading.taken_ns))
    return face, to_walls(face, 0.5 * sensor.beam, known.ground.walls)


def _hear_thing(known: Knowledge, arc: Arc) -> None:
    """Note an echo that comes neither from a known wall or beyond it, nor from an object that is known of."""
    most = min(to_walls(arc.face, arc.half_beam + LOBE, known.ground.walls), default=math.inf)
    is_wall = arc.distance > most - AT_WALL - 2.0 * known.filter.position_doubt.worst
    if is_wall or any(arc.may_be(thing) for thing in known.things):
        known.heard.hear_other(arc.device)
    else:
        known.heard.hear(arc)


def _taken_ns(new: tuple[str, Reading]) -> int:
    return new[1].taken_ns


def _or_unknown(value: Any) -> Any:  # a truth has to stay one: compiled, it would become the number 1.0 as a float
    return NOT_KNOWN if value is None else value


def _tell_grip(known: Knowledge) -> None:
    """Have the object's story tell what is known of a grip."""
    stories, is_held = known.ledger.stories, known.grip.latest.is_held
    if known.jaws is None or known.jaws >= 0.5:
        if known.ledger.carried is None:
            stories.open_jaws()
    elif is_held is not None:
        stories.tell_grip(*jaws_place(known), is_held=is_held, evidence=known.grip.evidence)
