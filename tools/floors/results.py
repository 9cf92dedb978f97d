"""What came of many floors: a row a run, a table with a line for each robot, and each kind of failure in a line."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from generator import LONGEST_MIN, command_to_make
from rehearsing import share_by_run

from rover.trials.words import aligned, with_interval

DELIVERED, DELIVERED_UNRANGED = 0.97, 0.95
UNTOUCHED = 0.99
BUMPED = 0.05
FASTEST, FASTEST_UNRANGED = 0.15, 0.10
WAY_HOME_S = 200.0
"""The behaviour gives itself three minutes to go home, once its longest time is over."""
SHOWN = 3
"""So many commands of each kind of failure."""


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
        """How many of the reachable ones were delivered, and of how many that the tray has room for.

        What was brought although it could hardly be reached has taken room of theirs.
        """
        tight = len(set(self.tight).intersection(self.delivered))
        due = max(0, min(len(self.reachable), self.room - tight))
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
    if told := list(kinds(rows)):
        print("\n".join(("", *told)))
    of_robots = ([row for row in rows if row.robot == robot] for robot in {row.robot for row in rows})
    return 1 if any(bar.is_missed for some in of_robots for bar in bars(some).values()) else 0
