"""Many floors, six robots, one run each: what of all that can be reached is brought, and what must not be.

    python tools/floors/table.py [--floors 200] [--robots cart,small] [--seed 1] [--jobs 2] [--into FILE]

Floors are of `generator.py`; what can be reached on one says `oracle.py`, on the floor as it truly stands. A thing that
can be reached only with less room than a position known to 2 cm leaves is told as tight, and counts for neither side.
Wanted of each robot:

- of what can be reached at least 97 % truly delivered, without a range finder 95 %;
- no clean result with anything left;
- nothing that stands in the tray touched, in 99 % of the runs;
- every run ends within the errand's time and the way home;
- bumps in at most 5 % of the runs, none faster than 15 cm/s; without a range finder none faster than 10 cm/s, one for
  each thing that the map has not, and none with what it has.

Each kind of failure is told in one line, with how often, and the commands that show the first ones. Exit code 1 where a
bar is missed.
"""

import math
import sys
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

sys.path.append(str(Path(__file__).parents[1] / "honesty"))

from generator import ROBOTS, write
from oracle import BARE, SAFE, XY, Circle, Part, Place, Reach, distance, reach, robot_of
from rehearsing import Runs, arguments, rehearsed
from results import Row, show

from rover.devices.jaws import jaws_size
from rover.estimate.field import Ground
from rover.events import GivenUp, HoldBack, Note, ObjectEvent, StateChange
from rover.record.run import FinalObject, TrueBump
from rover.simulation import TrueObject
from rover.trials.campaign import command_of
from rover.trials.trial import Trial, WatchedRehearsal, failed_row

NEAR = 0.4
"""So near (m) to an object, what is given up is taken to be it."""


class Task(NamedTuple):
    """A floor for a robot, and its rehearsal."""

    trial: Trial
    robot: str
    floor: int


class OnFloor(WatchedRehearsal):
    """A rehearsal on a floor of which it is known what can be reached.

    Attributes:
        can_reach, tightly: what can be, with the room that is due, and barely.
        in_tray: ids of what stands in the tray at the start; ``room``: how many more it takes.
    """

    def __init__(self, *given: Any, **parts: Any) -> None:
        super().__init__(*given, **parts)
        known = self.core.known
        self.place = self._true_place()
        robot, widest = known.robot, known.errand.widest
        self.outline = robot_of(robot.body, jaws_size(robot.devices.gripper, widest), widest)
        self.can_reach = reach(self.place, self.outline, SAFE)
        is_all = self.can_reach.tray and len(self.can_reach.objects) == len(self.place.objects)
        self.tightly = self.can_reach if is_all else reach(self.place, self.outline, BARE)
        self.in_tray = {one.id for one in self.bench.objects if known.ground.in_zone(one.x, one.y)}
        self.room = _room(known.ground, self.bench.objects)
        self._stood = {one.id: (one.x, one.y) for one in self.bench.objects}
        self._tried: list[tuple[XY, str]] = []
        self._failure = self._held_back = ""
        self._poses: dict[int, tuple[float, float, float]] = {}

    def after_step(self, given, decided):
        """Keep what is needed to tell why something was left, and what was run into."""
        super().after_step(given, decided)
        self._poses[given.now_ns] = self.bench.pose
        for event in decided.events:
            match event:
                case ObjectEvent(what="chosen") if (chosen := self.core.known.targets.chosen) is not None:
                    self._failure = ""
                    self._tried.append(((chosen.x, chosen.y), "chosen, and not brought"))
                case GivenUp(_, x, y, why):
                    self._tried.append(((x, y), f"given up: {self._failure or why}"))
                case Note("activity", text):
                    self._failed(text)
                case StateChange(left, entered, taken) if taken.startswith("after") or entered.endswith("/no_luck"):
                    if not self._failure or taken.startswith("after"):
                        self._failed(f"{left} left {taken}{self._held_back}")
                case HoldBack(cause, ended):
                    self._held_back = "" if ended else f", held back: {cause}"

    def _true_place(self) -> Place:
        bench, known = self.bench, self.core.known
        standing = bench.solids.standing
        return Place(
            known.ground.edges,
            [
                ((one.x, one.y), (one.x + one.length * one.along_x, one.y + one.length * one.along_y))
                for one in standing.walls
            ],
            [Circle(*post) for post in standing.posts],
            {str(piece.number): Circle(piece.x, piece.y, piece.radius) for piece in bench.pieces},
            tuple(bench.pose),
            known.ground.zone,
            known.ground.entry,
        )

    def bumps(self) -> Iterator[tuple[float, str]]:
        """Yield the speed of each bump, and with what."""
        names = [*self.core.known.errand.field.walls]
        names += [f"unmapped wall {at + 1}" for at in range(len(self.place.walls) - len(names))]
        names += [f"unmapped post {at + 1}" for at in range(len(self.place.posts))]
        posts = [(((one.x, one.y),) * 2, one.radius) for one in self.place.posts]
        things = [*((wall, 0.0) for wall in self.place.walls), *posts]
        for at_ns, what in self.truth.incidents:
            if isinstance(what, TrueBump):
                pose = self._poses[at_ns]
                apart = [_apart(self.outline.parts, pose, ends) - radius for ends, radius in things]
                yield what.speed, names[apart.index(min(apart))]

    def why_left(self, one: FinalObject) -> str:
        """Return why an object was left, as far as the run tells."""
        if one.place == "held":
            return "in the jaws at the end"
        places = ((one.x, one.y), self._stood[one.id])

        def is_it(place: XY) -> bool:
            return any(math.dist(place, other) < NEAR for other in places)

        return next((why for place, why in reversed(self._tried) if is_it(place)), "never chosen")

    def _failed(self, how: str) -> None:
        """Take note of how something failed, which most likely is of what was chosen last."""
        self._failure = how
        if self._tried and not self._tried[-1][1].startswith("given up"):
            self._tried[-1] = (self._tried[-1][0], f"tried: {how}")


def _room(ground: Ground, objects: Iterable[TrueObject]) -> int:
    """Return how many more the tray takes: what stands in it from the start bars more slots than one."""
    things = [(one.x, one.y) for one in objects if ground.in_zone(one.x, one.y)]
    before = len(things)
    for slot in ground.slots:
        if ground.is_open(slot, things):
            things.append((slot.x, slot.y))
    return len(things) - before


def _apart(parts: Iterable[Part], pose: tuple[float, float, float], ends: Any) -> float:
    x, y, heading = pose
    return min(float(distance(part, np.array([x]), np.array([y]), heading, ends)[0]) for part in parts)


def run(task: Task) -> Row:
    """Rehearse on a floor, and return what came of it; whatever is raised becomes a row too."""
    named = {"command": command_of(task.trial), "robot": task.robot, "floor": task.floor}
    try:
        rehearsal, result = rehearsed(OnFloor, task.trial)
    except (Exception, SystemExit) as error:
        return Row(**named, error=failed_row(task.trial, error).reason)
    final = rehearsal.truth.final_objects()
    delivered = [one.id for one in final if one.place == "tray"]
    reachable = _ids(rehearsal.can_reach, rehearsal.in_tray)
    left = {one.id: rehearsal.why_left(one) for one in final if one.id in reachable and one.id not in delivered}
    return Row(
        **named,
        objects=len(final),
        reachable=reachable,
        room=rehearsal.room,
        tight=[one for one in _ids(rehearsal.tightly, rehearsal.in_tray) if one not in reachable],
        delivered=delivered,
        counted=result.delivered,
        left=left,
        result=result.result,
        reason=result.reason,
        ended=f"{rehearsal.state}: {rehearsal.exit}",
        is_clean=result.is_clean,
        touched=result.truth.touched_in_tray,
        bumps=list(rehearsal.bumps()),
        took_s=result.robot_time_s,
        error=rehearsal.error,
    )


def _ids(can_be: Reach, in_tray: Iterable[str]) -> list[str]:
    """Return what can be reached and brought, without what is in the tray from the start."""
    return sorted(can_be.objects.difference(in_tray)) if can_be.tray else []


def planned(floors: Iterable[int], robots: Iterable[str], without: str) -> Iterator[Task]:
    """Write the files of each floor for each robot, and yield what is to be run; the run has the floor's seed."""
    for floor in floors:
        for robot in robots:
            yield Task(Trial(0, "", write(floor, robot), floor, without=without), robot, floor)


def main(words: Sequence[str] | None = None) -> int:
    parser = arguments(__doc__)
    parser.add_argument("--floors", type=int, default=200, help="how many, for each robot")
    parser.add_argument("--robots", default=",".join(ROBOTS), help="joined by commas")
    given = parser.parse_args(words)
    robots = given.robots.split(",")
    if unknown := [name for name in robots if name not in ROBOTS]:
        parser.error(f"no robot '{unknown[0]}'; there are {', '.join(ROBOTS)}")
    tasks = list(planned(range(given.seed, given.seed + given.floors), robots, given.without))
    rows = Runs(given.into, Row).rows(tasks, run, given.jobs)
    return show(sorted(rows, key=lambda row: (robots.index(row.robot), row.floor)))


if __name__ == "__main__":
    sys.exit(main())
