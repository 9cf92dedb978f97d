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
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

sys.path.append(str(Path(__file__).parents[1] / "honesty"))

from generator import LONGEST_MIN, ROBOTS, command_to_make, write
from oracle import BARE, SAFE, XY, Circle, Part, Place, Reach, distance, reach, robot_of
from rehearsing import Runs, arguments, rehearsed, share_by_run

from rover.events import GivenUp, HoldBack, Note, StateChange
from rover.record.run import FinalObject, TrueBump
from rover.trials.campaign import command_of
from rover.trials.trial import Trial, WatchedRehearsal, failed_row
from rover.trials.words import aligned, with_interval

DELIVERED, DELIVERED_UNRANGED = 0.97, 0.95
UNTOUCHED = 0.99
BUMPED = 0.05
FASTEST, FASTEST_UNRANGED = 0.15, 0.10
WAY_HOME_S = 200.0
"""The behaviour gives itself three minutes to go home, once its longest time is over."""
NEAR = 0.4
"""So near (m) to an object, what is given up is taken to be it."""
SHOWN = 3
"""So many commands of each kind of failure."""


class Task(NamedTuple):
    """A floor for a robot, and its rehearsal."""

    trial: Trial
    robot: str
    floor: int


@dataclass(frozen=True)
class Row:
    """What came of a floor.

    Attributes:
        command: shows the run, once the floor's files are written.
        robot, floor: as in `Task`.
        objects: how many there are.
        reachable, tight: ids of those not in the tray at the start that can be reached, with room and barely.
        room: how many more the tray has slots for.
        delivered: ids of all that stand in the tray at the end; ``counted``, how many the robot counts.
        left: why of each that can be reached and is not, by id, as far as the run tells.
        result, reason: of the errand; where it ended.
        is_clean: by its own account nobody need go and look.
        touched: times that something in the tray was touched.
        bumps: (speed in m/s, with what) each; what begins with ``unmapped`` is not on the map.
        took_s: robot time.
        error: why there is no run.
    """

    command: str
    robot: str = ""
    floor: int = 0
    objects: int = 0
    reachable: Sequence[str] = field(default_factory=list)
    tight: Sequence[str] = field(default_factory=list)
    room: int = 0
    delivered: Sequence[str] = field(default_factory=list)
    counted: int = 0
    left: Mapping[str, str] = field(default_factory=dict)
    result: str = ""
    reason: str = ""
    ended: str = ""
    is_clean: bool = False
    touched: int = 0
    bumps: Sequence[tuple[float, str]] = field(default_factory=list)
    took_s: float = 0.0
    error: str = ""

    @property
    def has_range(self) -> bool:
        return self.robot != "unranged"

    @property
    def brought(self) -> tuple[int, int]:
        """How many of the reachable ones were delivered, and of how many that the tray has room for."""
        due = min(len(self.reachable), self.room)
        return min(due, len(set(self.reachable).intersection(self.delivered))), due

    @property
    def is_false(self) -> bool:
        """Clean, and something is left that is not in the tray."""
        return self.is_clean and len(self.delivered) < self.objects

    @property
    def is_late(self) -> bool:
        return self.took_s > 60.0 * LONGEST_MIN + WAY_HOME_S

    @property
    def wrong(self) -> Iterator[str]:
        """Yield each kind of failure, in words."""
        if self.error:
            yield f"no run: {self.error}"
        good, due = self.brought
        if good < due:
            how = f"stopped ({self.reason})" if self.result == "stopped" else self.result
            yield from (f"left, {how}: {why}" for why in sorted(set(self.left.values())))
        if self.is_false:
            yield f"clean result ({self.result}, {self.reason}), and not all is in"
        if self.touched:
            yield "touched in the tray"
        if self.is_late:
            yield "not over in its time"
        yield from (f"bump: {what}" for what in sorted(set(bumps_wrong(self))))


def bumps_wrong(row: Row) -> Iterator[str]:
    """Yield what is wrong with a run's bumps: any at all with a range finder, since few runs may have some."""
    met: set[str] = set()
    for speed, what in row.bumps:
        fast = " too fast" if speed > (FASTEST if row.has_range else FASTEST_UNRANGED) + 0.005 else ""
        kind = "unmapped" if what.startswith("unmapped") else "mapped"
        if row.has_range or fast or kind == "mapped":
            yield f"with something {kind}{fast}"
        elif what in met:
            yield "with something unmapped, again"
        met.add(what)


class OnFloor(WatchedRehearsal):
    """A rehearsal on a floor of which it is known what can be reached.

    Attributes:
        can_reach, tightly: what can be, with the room that is due, and barely.
        in_tray: ids of what stands in the tray at the start.
    """

    def __init__(self, *given: Any, **parts: Any) -> None:
        super().__init__(*given, **parts)
        known = self.core.known
        self.place = self._true_place()
        self.outline = robot_of(known.robot.body, known.errand.widest)
        self.can_reach = reach(self.place, self.outline, SAFE)
        is_all = self.can_reach.tray and len(self.can_reach.objects) == len(self.place.objects)
        self.tightly = self.can_reach if is_all else reach(self.place, self.outline, BARE)
        self.in_tray = {one.id for one in self.bench.objects if known.ground.in_zone(one.x, one.y)}
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
                case Note("chosen") if (chosen := self.core.known.targets.chosen) is not None:
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
        room=max(0, len(rehearsal.core.known.ground.slots) - len(rehearsal.in_tray)),
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


class Bar(NamedTuple):
    """What is wanted of a robot, and what came."""

    figure: str
    is_missed: bool


def bars(rows: Sequence[Row]) -> dict[str, Bar]:
    """Return each bar of a robot by its head in the table."""
    has_range = rows[0].has_range
    share = share_by_run(row.brought for row in rows)
    bumped = [row for row in rows if row.bumps]
    fastest = max((speed for row in rows for speed, _ in row.bumps), default=0.0)
    untouched = sum(not row.touched for row in rows) / len(rows)
    too_fast = fastest > (FASTEST if has_range else FASTEST_UNRANGED) + 0.005
    too_many = len(bumped) > BUMPED * len(rows) if has_range else any(any(bumps_wrong(row)) for row in rows)
    return {
        "of reachable delivered": Bar(
            "-" if share is None else with_interval(share),
            share is not None and share.value < (DELIVERED if has_range else DELIVERED_UNRANGED),
        ),
        "+clean with some left": Bar(str(sum(row.is_false for row in rows)), any(row.is_false for row in rows)),
        "+in tray touched": Bar(str(sum(row.touched > 0 for row in rows)), untouched < UNTOUCHED),
        "+late": Bar(str(sum(row.is_late for row in rows)), any(row.is_late for row in rows)),
        "+with bumps": Bar(str(len(bumped)), too_many),
        "+fastest (cm/s)": Bar(f"{100.0 * fastest:.0f}", too_fast),
        "+no run": Bar(str(sum(bool(row.error) for row in rows)), any(row.error for row in rows)),
    }


def table(rows: Sequence[Row]) -> Iterator[str]:
    """Yield a line for each robot; what misses its bar has a star."""
    cells, heads = [], ()
    for robot in dict.fromkeys(row.robot for row in rows):
        of_robot = [row for row in rows if row.robot == robot]
        found = bars(of_robot)
        heads = tuple(found)
        tight = [(one in row.delivered) for row in of_robot for one in row.tight]
        counts = (len(of_robot), sum(row.objects for row in of_robot), sum(row.brought[1] for row in of_robot))
        figures = (f"{bar.figure}{'*' if bar.is_missed else ''}" for bar in found.values())
        cells.append([robot, *map(str, counts), f"{sum(tight)} of {len(tight)}", *figures])
    yield from aligned(("robot", "+runs", "+objects", "+reachable", "+tight delivered", *heads), cells)


def kinds(rows: Iterable[Row]) -> Iterator[str]:
    """Yield each kind of failure with how many runs had it and by which robots, the commonest first, and commands."""
    by_kind: dict[str, list[Row]] = {}
    for row in rows:
        for what in row.wrong:
            by_kind.setdefault(what, []).append(row)
    for what, some in sorted(by_kind.items(), key=lambda one: -len(one[1])):
        robots = ", ".join(
            f"{name} {sum(row.robot == name for row in some)}" for name in dict.fromkeys(row.robot for row in some)
        )
        yield f"{len(some)}: {what} ({robots})"
        for row in some[:SHOWN]:
            yield f"    {command_to_make(row.floor, row.robot)} && {row.command}"


def show(rows: Sequence[Row]) -> int:
    """Print the table and the kinds of failure; return 1 where a bar is missed, else 0."""
    print("\n".join(table(rows)))
    print()
    print("\n".join(kinds(rows)))
    of_robots = ([row for row in rows if row.robot == robot] for robot in {row.robot for row in rows})
    return 1 if any(bar.is_missed for some in of_robots for bar in bars(some).values()) else 0


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
