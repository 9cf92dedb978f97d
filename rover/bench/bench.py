"""The bench itself: a robot on a floor with objects, stepped in simulated time.

Time starts at 0 and goes on in fixed steps of 10 ms on an absolute grid, however it is asked for, so that one seed
gives one run exactly. Devices have themselves called on that grid (`Bench.watch`): a report's value is the one at
its stated time, whoever polls first. A lock guards the public entry points; the rest is for this package.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from threading import RLock

from rover.bench.crowd import Crowd
from rover.bench.draws import NEVER_NS, stream
from rover.bench.faults import Schedule, Undo
from rover.bench.floor import Rectangle, Solids, TurnCentre, start_pose
from rover.bench.gripper import Jaws
from rover.bench.happenings import HAPPENINGS
from rover.bench.line import Line
from rover.bench.lips import Lips
from rover.bench.motors import STEP_NS, Base, encoders
from rover.bench.objects import Piece, outline, pieces, pushed
from rover.files.bench import BenchFile
from rover.files.errand import Errand
from rover.files.faults import ScheduledFault
from rover.files.robot import Robot
from rover.geometry import Pose
from rover.quantities import wrap
from rover.simulation import Contact, Simulation, TrueObject


@dataclass
class Watcher:
    """Something that is to be called at a fixed rate of simulated time."""

    period_ns: int
    due_ns: int
    call: Callable[[int], None]


class Bench(Simulation):
    """A rehearsal's floor, objects and robot.

    Args:
        bench: the bench file.
        robot: the robot file: measures of the body and stated properties of the devices.
        errand: the errand file: boundary, walls, start, zone and kinds.
        seed: the run's seed.

    Raises:
        ValueError: the bench file has objects of a kind that the errand lacks, or more than there is room for.
    """

    def __init__(self, bench: BenchFile, robot: Robot, errand: Errand, seed: int) -> None:
        self.file, self.robot, self.errand, self.seed = bench, robot, errand, seed
        self.now_ns = 0
        self.schedule = Schedule(bench.faults, seed)
        self.is_stop_pressed = False
        self.solids = Solids(bench, errand)
        self.solids.stray(bench.off_the_map, stream(seed, "off the map"))
        self.pieces = pieces(bench, errand, seed)
        self._crowd = Crowd(self.pieces, self.solids)
        self.base = Base(bench, robot, seed)
        self.encoders = encoders(bench, robot.body, seed)
        self.jaws_state = Jaws(bench, robot, errand.widest, seed)
        self.line = Line(bench.link, seed)
        self.lock = RLock()
        self._outline = outline(robot.body, self.jaws_state.size)
        self._rectangles = (
            Rectangle(-self._outline.half_length, self._outline.half_length, self._outline.half_width),
            Rectangle(self._outline.half_length, self._outline.tips, self.jaws_state.size.half_width),
        )
        self.x, self.y, self.heading = start_pose(self.solids, self._rectangles, bench.off_the_map, errand, seed)
        self._turn_centre = TurnCentre(bench.floor, seed)
        self._lips = Lips(bench.lips, robot.body, seed) if bench.lips else None
        # The next step's end: a caller that compares with it spares most of its calls of `advance`.
        self.next_ns = STEP_NS
        self._next_fault_ns = self.schedule.next_ns
        self._next_watch_ns = NEVER_NS
        self._watchers: list[Watcher] = []
        # How far the robot can go before it can meet anything: no contact is looked for until it has gone that far.
        self._free_way = 0.0
        self._contacts: dict[str | None, float] = {}
        self._objects: tuple[TrueObject, ...] = ()  # nothing: to be made anew

    def advance(self, now_ns: int) -> None:
        """Bring the bench to ``now_ns`` (ns from the start). A time that it has reached already changes nothing."""
        if now_ns < self.next_ns:
            return
        with self.lock:
            while self.next_ns <= now_ns:
                self._step()

    def drive(self, left: float, right: float, expires_ns: int) -> None:
        """Set the duty of the two motor channels (-1 to 1, forwards positive), valid until ``expires_ns``."""
        with self.lock:
            self.base.drive(left, right, expires_ns)

    def jaws(self, opening: float | None) -> None:
        """Set the wanted jaw opening, 0 (closed) to 1 (open); None lets the servo go limp, and what is held with it."""
        with self.lock:
            self.jaws_state.command(opening)

    def watch(self, rate: float, call: Callable[[int], None]) -> None:
        """Have ``call(now_ns)`` called ``rate`` times a second (Hz) of simulated time, at most once a step of 10 ms."""
        with self.lock:
            period_ns = max(STEP_NS, round(1e9 / rate))
            watcher = Watcher(period_ns, self.now_ns + period_ns, call)
            self._watchers.append(watcher)
            self._next_watch_ns = min(self._next_watch_ns, watcher.due_ns)

    def unwatch(self, call: Callable[[int], None]) -> None:
        """Have ``call`` called no more; nothing happens when it is not watched."""
        with self.lock:
            self._watchers = [watcher for watcher in self._watchers if watcher.call != call]

    def note_entries(self, entries: Mapping[str, int]) -> None:
        """Take note of how often each state of the behaviour has been entered by now: faults may wait for it."""
        with self.lock:
            self.schedule.note_entries(entries, self.now_ns)
            self._next_fault_ns = self.schedule.next_ns

    @property
    def pose(self) -> Pose:
        """Where the robot truly is."""
        with self.lock:
            return Pose(self.x, self.y, self.heading)

    @property
    def objects(self) -> tuple[TrueObject, ...]:
        """All objects as they truly are, in the order of their numbers, which are their ids."""
        if self._objects and self.jaws_state.held is None:
            return self._objects
        with self.lock:
            self.carry()
            known = self._objects or (None,) * len(self.pieces)
            pairs = zip(self.pieces, known, strict=True)
            self._objects = tuple(true if true and not piece.held else _true(piece) for piece, true in pairs)
            return self._objects

    def contacts(self) -> Sequence[Contact]:
        """Return what the robot has run into since the last call, each thing once, at the fastest."""
        if not self._contacts:
            return ()
        with self.lock:
            contacts, self._contacts = self._contacts, {}
            return [Contact(*each) for each in contacts.items()]

    def carry(self) -> None:
        """Bring the held piece's place up to date: nobody needs it at every step."""
        held = self.jaws_state.held
        if held is not None:
            held.x, held.y = self.to_field(self.jaws_state.reach, 0.0)

    def to_field(self, ahead: float, left: float) -> tuple[float, float]:
        """Return the place (m, field frame) of a point in the robot's frame (m)."""
        cosine, sine = math.cos(self.heading), math.sin(self.heading)
        return self.x + ahead * cosine - left * sine, self.y + ahead * sine + left * cosine

    def to_robot(self, x: float, y: float) -> tuple[float, float]:
        """Return the place (m ahead, m left) in the robot's frame of a point of the field (m)."""
        cosine, sine = math.cos(self.heading), math.sin(self.heading)
        dx, dy = x - self.x, y - self.y
        return dx * cosine + dy * sine, dy * cosine - dx * sine

    def piece_in_jaws(self) -> Piece | None:
        """Return the piece that stands between the jaws, held or not; the one nearest to their middle."""
        if self.jaws_state.held is not None:
            return self.jaws_state.held
        if self._free_way > 0.0:
            return None
        takes = self.jaws_state.takes
        near = [(abs(left), one.number, one) for one, ahead, left in self._near() if takes(ahead, left, one.radius)]
        return min(near)[2] if near else None

    def _near(self) -> list[tuple[Piece, float, float]]:
        """Return the standing pieces within the robot's circle, with their places in its frame."""
        x, y, within = self.x, self.y, self._outline.radius
        return [
            (piece, *self.to_robot(piece.x, piece.y))
            for piece in self.pieces
            if not piece.held and abs(piece.x - x) < within + piece.radius and abs(piece.y - y) < within + piece.radius
        ]

    def _step(self) -> None:
        begins_ns = self.now_ns
        now_ns = self.now_ns = self.next_ns
        self.next_ns = now_ns + STEP_NS
        way, turn = self.base.step(begins_ns)
        if way or turn:
            self._move(way, turn)
        jaws = self.jaws_state
        if jaws.opening != jaws.wanted or now_ns >= jaws.drop_due_ns:
            self._work_jaws(now_ns)
        if now_ns >= self._next_fault_ns:
            self._go_wrong(now_ns)
        if now_ns >= self._next_watch_ns:
            self._call_watchers(now_ns)

    def _move(self, way: float, turn: float) -> None:
        """Move along a chord of the arc: over 10 ms it differs from the arc by less than a micrometre."""
        before = (self.x, self.y, self.heading)
        middle = self.heading + 0.5 * turn
        ahead, left = self._turn_centre.turn(turn)
        along, aside = way + turn * left, -turn * ahead
        cosine, sine = math.cos(middle), math.sin(middle)
        self.x += along * cosine - aside * sine
        self.y += along * sine + aside * cosine
        heading = self.heading + turn
        self.heading = heading if -math.pi <= heading < math.pi else wrap(heading)
        self._free_way -= abs(along) + abs(aside)
        if self._free_way <= 0.0:
            self._meet(before)
        if self._lips is not None:
            self._cross(self._lips, before)

    def _cross(self, lips: Lips, before: tuple[float, float, float]) -> None:
        """Stand before a lip that takes more duty than a side has, or be jolted by it."""
        jolt = lips.cross(before, (self.x, self.y, self.heading), self.base.duties)
        if jolt is None:
            self._go_back(before)
        elif jolt:
            self.heading = wrap(self.heading + jolt)
            self.base.jolt()
            self.look_again()

    def _meet(self, before: tuple[float, float, float]) -> None:
        clearance = self.solids.clearance(self.x, self.y) - self._outline.radius
        if clearance <= 0.0 and self.is_blocked:
            self._note_contact(None)
            self._go_back(before)
        near = [piece for piece, _, _ in self._near()]
        if near and not self._crowd.give_way(near, self._pushed) and self._squeezes_more_than_at(before, near):
            self._go_back(before)
        if self._crowd.touched:
            self._note_touched()
        gaps = (math.hypot(one.x - self.x, one.y - self.y) - one.radius for one in self.pieces if not one.held)
        self._free_way = min(clearance, min(gaps, default=math.inf) - self._outline.radius)

    def _squeezes_more_than_at(self, before: tuple[float, float, float], near: list[Piece]) -> bool:
        """Whether what is jammed is so more than it was: jaws that open squeeze it too, and must be let go of."""
        now, depth = (self.x, self.y, self.heading), self._crowd.depth(near, self._pushed)
        self.x, self.y, self.heading = before
        depth_before = self._crowd.depth(near, self._pushed)
        self.x, self.y, self.heading = now
        return depth > depth_before

    def _go_back(self, before: tuple[float, float, float]) -> None:
        """Have the robot stand where it was, its motors stalled."""
        self.x, self.y, self.heading = before
        self.base.block()

    def _pushed(self, piece: Piece) -> tuple[float, float] | None:
        """Return where body or jaws push a piece."""
        ahead, left = self.to_robot(piece.x, piece.y)
        place = pushed(ahead, left, piece.radius, self._outline, self.jaws_state.halves(piece.radius))
        return None if place is None else self.to_field(*place)

    def _note_touched(self) -> None:
        for piece in self._crowd.touched:
            self._note_contact(str(piece.number))
        self._crowd.touched.clear()
        self._objects = ()

    def _note_contact(self, what: str | None) -> None:
        """Note what was run into; of a turn, the speed is that of the outline's farthest corner."""
        speed = max(abs(self.base.speed), abs(self.base.turn_rate) * self._outline.radius)
        self._contacts[what] = max(speed, self._contacts.get(what, 0.0))

    def _work_jaws(self, now_ns: int) -> None:
        jaws = self.jaws_state
        jaws.move()
        if jaws.lets_go(now_ns):
            self.release()
        elif jaws.held is None:
            piece = self.piece_in_jaws()
            if piece is not None and jaws.closes_on(piece):
                self._try_grip(piece, now_ns)

    def _try_grip(self, piece: Piece, now_ns: int) -> None:
        self._note_contact(str(piece.number))
        jaws = self.jaws_state
        if jaws.grip(piece, now_ns):
            piece.held = True
        else:
            left = self.to_robot(piece.x, piece.y)[1]
            self._crowd.knock(piece, *self.to_field(*jaws.knocked(left, piece.radius)))
            self._note_touched()

    def release(self) -> None:
        """Let go of what is held, if anything is."""
        self.carry()
        piece = self.jaws_state.release()
        if piece is not None:
            piece.held = False
            self._objects = ()
            self._free_way = 0.0

    def put(self, piece: Piece, x: float, y: float) -> None:
        """Carry a piece elsewhere; one that is held is let go of there."""
        if piece.held:
            self.release()
        piece.x, piece.y = x, y
        self._objects = ()
        self.look_again()

    def look_again(self) -> None:
        """Look for contacts at the next step, however far the robot seemed to be from everything."""
        self._free_way = 0.0

    @property
    def front(self) -> float:
        """How far the jaws' tips, or the body, reach ahead of the robot's middle (m)."""
        return max(rectangle.front for rectangle in self._rectangles)

    @property
    def is_blocked(self) -> bool:
        """Whether the robot stands in something that does not give way."""
        return self.solids.touch(self._rectangles, self.x, self.y, self.heading)

    def _happen(self, line: ScheduledFault) -> Undo:
        return HAPPENINGS[line.fault.happens](self, line)

    def _go_wrong(self, now_ns: int) -> None:
        before = self.schedule.robot
        self.schedule.go_on(now_ns, self._happen)
        self._next_fault_ns = self.schedule.next_ns
        wrong = self.schedule.robot
        if wrong == before:
            return
        self.base.suffer(wrong)
        self.jaws_state.suffer(wrong)
        self.encoders[0].suffer(wrong.left_counts, self.base.left_travel)
        self.encoders[1].suffer(wrong.right_counts, self.base.right_travel)

    def _call_watchers(self, now_ns: int) -> None:
        next_ns = NEVER_NS
        for watcher in self._watchers:
            due_ns = watcher.due_ns
            if due_ns <= now_ns:
                due_ns = watcher.due_ns = due_ns + watcher.period_ns
                watcher.call(now_ns)
            if due_ns < next_ns:
                next_ns = due_ns
        self._next_watch_ns = next_ns


def _true(piece: Piece) -> TrueObject:
    return TrueObject(str(piece.number), piece.kind, piece.x, piece.y, piece.held)
