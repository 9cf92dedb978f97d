"""The truth of a rehearsal, counted: what was run into, touched, held and brought, beside what the robot believes."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import product

from rover.estimate.field import Ground, ground_for
from rover.events import Find
from rover.files.errand import Errand
from rover.files.robot import Robot
from rover.geometry import XY, Pose, distance_to_segment, inside
from rover.motion.outline import BodyOutline, outline_of
from rover.record.run import FinalObject, Incident, TrueBump, TrueFigures, TrueFind, TrueTouch
from rover.simulation import Contact, Simulation, TrueObject

APART_NS = 2_000_000_000
"""Contacts with the same thing within this time are one; an object gripped within it was touched on purpose."""
LOOK_EVERY_NS = 100_000_000
"""How often it is looked where the robot is: at 0.4 m/s and 90 deg/s the chord is 0.1 % shorter than the arc."""
BEYOND = 0.001
"""What is outside by less (m) is not counted."""


class TruthKeeper:
    """Follows a simulation through a run.

    Args:
        simulation: knows the truth.
        robot, errand: for the outline, the boundary and the tray.

    Attributes:
        incidents: the bumps and touches so far, in the order in which they were over.
    """

    def __init__(self, simulation: Simulation, robot: Robot, errand: Errand) -> None:
        ground = ground_for(errand, robot)
        self._simulation, self._ground = simulation, ground
        self._way = _Way(outline_of(robot, errand.widest, loaded=False), ground)
        self._contacts = _Contacts(ground)
        self._objects: Sequence[TrueObject] = ()
        self._by_id: dict[str, TrueObject] = {}
        self._stood: dict[str, XY] = {}
        self._brought: set[str] = set()  # what has come into the tray
        self._claimed = self._came_in = 0  # since the last find: deliveries, objects that came into the tray
        self._empty_finds = self._empty_deliveries = self._let_go = self._fallen = 0
        self.incidents: list[Incident] = []
        self._follow(0)
        self._to_fetch = {
            one.id for one in self._simulation.objects if errand.fetches(one.kind) and not self._is_in_tray(one)
        }

    @property
    def pose(self) -> Pose:
        """Where the robot is."""
        return Pose(*self._simulation.pose)

    def step(self, now_ns: int) -> list[Incident]:
        """Look at what has become of robot and objects; return the bumps and touches that are over."""
        before = self._by_id
        self._follow(now_ns)
        if now_ns >= self._way.due_ns:
            self._way.go_on(now_ns, self.pose)
        for contact in self._simulation.contacts():
            if contact.id is None or not self._by_id[contact.id].held:
                self._contacts.take(now_ns, contact, self.pose, before)
        return self._over(now_ns)

    def find(self, find: Find) -> TrueFind | None:
        """Return where the object stood that is in the jaws as the robot takes it for found; None: there is none."""
        self._settle()
        held = [one.id for one in self._objects if one.held]
        if not held:
            self._empty_finds += 1
            return None
        return TrueFind(find.number, *self._stood[held[0]])

    def deliver(self) -> None:
        """Take note that the robot takes an object for delivered."""
        self._claimed += 1

    def take_out(self) -> None:
        """Take note that the robot counts what is in its jaws no more: that claim was wrong, and is no more."""
        self._settle()
        if self._empty_deliveries and not any(one.held and one.id in self._brought for one in self._objects):
            self._empty_deliveries -= 1

    def end(self, now_ns: int) -> list[Incident]:
        """Settle what is open, and return the bumps and touches that were not over."""
        self._settle()
        return self._over(now_ns + APART_NS)

    def final_objects(self) -> list[FinalObject]:
        """Return where each object is."""
        return [self._final(one) for one in self._objects]

    def in_figures(self) -> TrueFigures:
        """Return what truly happened so far."""
        contacts, way = self._contacts, self._way
        return TrueFigures(
            objects=len(self._to_fetch),
            delivered=sum(one.id in self._to_fetch and self._is_in_tray(one) for one in self._objects),
            empty_finds=self._empty_finds,
            empty_deliveries=self._empty_deliveries,
            let_go_outside=self._let_go,
            fallen=self._fallen,
            bumps=len(contacts.bumps),
            fastest_bump_m_s=max(contacts.bumps, default=0.0),
            touched=contacts.touched,
            touched_in_tray=contacts.touched_in_tray,
            outside_s=way.outside_ns * 1e-9,
            farthest_outside_m=way.farthest_outside,
            driven_m=way.driven,
        )

    def _over(self, now_ns: int) -> list[Incident]:
        if over := self._contacts.over(now_ns, self._by_id):
            self.incidents += over
        return over

    def _follow(self, now_ns: int) -> None:
        """Bring the objects up to date: which are held now, and which were let go."""
        objects = self._simulation.objects
        if objects is self._objects:
            return
        before, self._objects = self._by_id, objects
        self._by_id = {one.id: one for one in objects}
        for one in objects:
            was = before.get(one.id)
            if was is one:
                continue
            was = was or one
            self._fallen += one.fallen and not was.fallen
            if one.held and not was.held:
                self._contacts.forget(one.id)
            elif was.held and not one.held:
                self._contacts.leave(one.id, now_ns)
                self._let_go += self._ground.zone is not None and not self._is_in_tray(one)
            if self._is_in_tray(one) and not self._is_in_tray(was):
                self._came_in += 1
                self._brought.add(one.id)
            if not one.held or one.id not in self._stood:
                self._stood[one.id] = (one.x, one.y)

    def _settle(self) -> None:
        """Hold deliveries against what came into the tray, before they were said or after, carried or pushed."""
        self._empty_deliveries += max(0, self._claimed - self._came_in)
        self._claimed = self._came_in = 0

    def _is_in_tray(self, one: TrueObject) -> bool:
        return not one.held and self._ground.in_zone(one.x, one.y)

    def _final(self, one: TrueObject) -> FinalObject:
        place = "held" if one.held else "tray" if self._is_in_tray(one) else "floor"
        return FinalObject(one.id, one.kind, one.x, one.y, place)


@dataclass
class _Episode:
    """Contacts with one thing that count as one: where robot or object was, when they were, the fastest (m/s)."""

    place: XY
    began_ns: int
    last_ns: int
    speed: float


class _Contacts:
    """Makes bumps and touches of contacts.

    Attributes:
        bumps: the speed of each (m/s).
    """

    def __init__(self, ground: Ground) -> None:
        self.bumps: list[float] = []
        self.touched = self.touched_in_tray = 0
        self._ground = ground
        self._open: dict[str | None, _Episode] = {}
        # Objects that were let go, and when they were last touched: what the jaws do to them as they are drawn back
        # is part of setting down.
        self._leaving: dict[str, int] = {}

    def take(self, now_ns: int, contact: Contact, pose: Pose, before: dict[str, TrueObject]) -> None:
        """Take a contact; ``before``: the objects by id as they were a step ago."""
        what, speed = contact
        if what is None:
            place = (pose.x, pose.y)
        elif now_ns - self._leaving.get(what, -APART_NS) < APART_NS:
            self._leaving[what] = now_ns
            return
        else:
            place = (before[what].x, before[what].y)
        episode = self._open.setdefault(what, _Episode(place, now_ns, now_ns, speed))
        episode.last_ns, episode.speed = now_ns, max(speed, episode.speed)

    def forget(self, what: str) -> None:
        """Take what happened to an object just now as part of gripping it."""
        self._open.pop(what, None)

    def leave(self, what: str, now_ns: int) -> None:
        """Take what happens to an object from now on, as long as it goes on, as part of letting it go."""
        self._leaving[what] = now_ns

    def over(self, now_ns: int, objects: dict[str, TrueObject]) -> list[Incident]:
        """Return what is over, and count it."""
        if not self._open:
            return []
        gone = [what for what, episode in self._open.items() if now_ns - episode.last_ns >= APART_NS]
        return [self._counted(self._open.pop(what), None if what is None else objects[what]) for what in gone]

    def _counted(self, episode: _Episode, one: TrueObject | None) -> Incident:
        if one is None:
            self.bumps.append(episode.speed)
            return Incident(episode.began_ns, TrueBump(*episode.place, episode.speed))
        in_tray = self._ground.in_zone(*episode.place)
        self.touched += not in_tray
        self.touched_in_tray += in_tray
        moved = math.dist(episode.place, (one.x, one.y))
        return Incident(episode.began_ns, TrueTouch(one.id, one.kind, *episode.place, moved, in_tray))


class _Way:
    """How far the robot went, and how far and long any corner of its outline was beyond the boundary.

    Attributes:
        driven, farthest_outside: m.
        due_ns: when the next pose is wanted.
    """

    def __init__(self, outline: BodyOutline, ground: Ground) -> None:
        self.driven = self.farthest_outside = 0.0
        self.outside_ns = 0
        self._outline, self._ground = outline, ground
        self._place: XY | None = None
        self._looked_ns = self.due_ns = 0

    def go_on(self, now_ns: int, pose: Pose) -> None:
        """Take the pose that the robot has now."""
        since_ns, self._looked_ns = now_ns - self._looked_ns, now_ns
        self.due_ns = now_ns + LOOK_EVERY_NS
        place = (pose.x, pose.y)
        if self._place is not None:
            self.driven += math.dist(place, self._place)
        self._place = place
        if (outside := self._outside(pose)) > BEYOND:
            self.outside_ns += since_ns
            self.farthest_outside = max(self.farthest_outside, outside)

    def _outside(self, pose: Pose) -> float:
        """Return how far (m) the outline's farthest corner is beyond the boundary; 0 inside."""
        if self._ground.clearance(pose.x, pose.y) >= self._outline.radius:
            return 0.0
        out = [corner for corner in self._corners(pose) if not inside(corner, self._ground.boundary)]
        return max((min(distance_to_segment(one, *edge) for edge in self._ground.edges) for one in out), default=0.0)

    def _corners(self, pose: Pose) -> Iterator[XY]:
        c, s = math.cos(pose.heading), math.sin(pose.heading)
        for back, front, half_width in self._outline.parts:
            for ahead, left in product((back, front), (half_width, -half_width)):
                yield pose.x + ahead * c - left * s, pose.y + ahead * s + left * c
