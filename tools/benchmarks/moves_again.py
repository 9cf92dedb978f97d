"""What moves again by itself after a reboot, a halt or a reconnection: N random moments of each, nobody's hand in it.

``python tools/benchmarks/moves_again.py [--moments 100] [--only TEXT] [--side-by-side 3]``. The real `rover run` drives
a robot that is not there; something happens to it for a random while and then is over, nobody types anything, and the
judge (``peer.py``, ``peer_pins.py``) watches for some seconds more. In `rover jog` a person goes on holding the key
down: that is no deliberate start either. ``again``: wheels that had come to zero turned later; ``drove on``: they never
came to zero. The exit status is 1 if anything moved again, or drove on where it has to stand.
"""

import random
import signal
import sys
import time
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from itertools import count
from typing import NamedTuple

from kill_rigs import ON_STOP, PROCESSES, NotTriedError, Rig, rig
from kill_table import ADAPTER_BYTES, ALL, arguments, at_work, clear_away_when_ended

OBSERVED_S = 3.0
HALTED_S = 1.0

Happen = Callable[[Rig, random.Random], int]
"""Has something happen, until it is over; returns when it began (ns)."""


class Row(NamedTuple):
    """An event, and what it happens to.

    Attributes:
        may_drive_on: short enough, or far enough from the wheels, to be no reason to stop.
        is_impossible: nobody can keep it from moving once more.
    """

    event: str
    program: str
    path: str
    happen: Happen
    may_drive_on: bool = False
    is_impossible: bool = False

    @property
    def name(self) -> str:
        """Event, program and path."""
        return f"{self.event}, {self.program}, {self.path}"


def wait(robot: Rig, seconds: float) -> None:
    robot.watch(lambda: False, seconds)


def reboots(robot: Rig, chance: random.Random) -> int:
    assert robot.line is not None
    began_ns = time.monotonic_ns()
    robot.line.do("reboot", chance.randrange(0, 500))
    return began_ns


def halted(*names: str) -> Happen:
    def happen(robot: Rig, chance: random.Random) -> int:
        began_ns = robot.signal(signal.SIGSTOP, names)
        wait(robot, HALTED_S)
        robot.signal_again(signal.SIGCONT)
        return began_ns

    return happen


def away(robot: Rig, chance: random.Random) -> int:
    assert robot.line is not None
    began_ns = robot.line.do("unplug")
    wait(robot, chance.uniform(0.02, 1.5))
    robot.line.do("plug")
    return began_ns


def for_a_while(until: str, *words: object) -> Happen:
    """Have something the matter with the line for a second at most."""

    def happen(robot: Rig, chance: random.Random) -> int:
        assert robot.line is not None
        began_ns = robot.line.do(*words)
        wait(robot, chance.uniform(0.4, 1.2))
        robot.line.do(until)
        return began_ns

    return happen


def rows() -> Iterable[Row]:
    """Yield all rows."""
    for program in ("run", "jog"):
        for path in ("serial", "old board"):
            yield Row("co-processor reboots", program, path, reboots)
            yield Row("line taken away and back", program, path, away)
            yield Row("line silent for a while", program, path, for_a_while("speak", "silent"))
            yield Row("line garbage for a while", program, path, for_a_while("speak", "garbage"))
            for room in (0, ADAPTER_BYTES):
                stall = for_a_while("go", "stall", room)
                # What an adapter holds nobody can recall, nor the 4 KB that a pseudo-terminal's far side has taken in;
                # a board of before obeys it as it arrives, until the zero behind it.
                is_lost = path == "old board"
                yield Row(f"line stalled, {room} bytes in its adapter", program, path, stall, is_lost, is_lost)
        for names in (*((name,) for name in PROCESSES), ("runtime", "guard"), PROCESSES):
            for path in ALL:
                # The supervisor of a board with a deadline is not one of the two ways to zero.
                is_minor = names == ("supervisor",) and path == "serial"
                yield Row(f"{' and '.join(names)} halted for 1 s", program, path, halted(*names), is_minor)


class Moment(NamedTuple):
    """What became of one."""

    came_to_zero: bool
    again_ms: float | None = None
    trouble: str = ""


def moment(row: Row, seed: str, number: int) -> Moment:
    """Let it drive for a random while, have the event, and watch."""
    chance = random.Random(f"{seed} {row.name} {number}")
    with rig(row.path, ON_STOP[number % len(ON_STOP)]) as robot:
        try:
            robot.start(row.program)
            robot.drive(chance.uniform(0.1, 1.0))
            began_ns = row.happen(robot, chance)
        except NotTriedError as error:
            return Moment(False, trouble=str(error))
        wait(robot, OBSERVED_S)
        stood_ns = None
        for change in robot.wheels.history():
            if change.now_ns >= began_ns and not change.is_moving and stood_ns is None:
                stood_ns = change.now_ns
            elif stood_ns is not None and change.is_moving:
                return Moment(True, (change.now_ns - began_ns) / 1e6)
        return Moment(stood_ns is not None)


def line_of(row: Row, found: list[Moment]) -> str:
    """Return a row of the table."""
    again = [one.again_ms for one in found if one.again_ms is not None]
    drove_on = sum(not one.came_to_zero and not one.trouble for one in found)
    troubles = [one.trouble for one in found if one.trouble]
    first = f"{min(again):8.0f}" if again else f"{'-':>8}"
    words = f"{len(troubles)}: {troubles[0]}" if troubles else "cannot be helped" if row.is_impossible else ""
    return f"{row.name:<66} {len(found):>7} {len(again):>6} {drove_on:>8} {first}  {words}".rstrip()


def fails(row: Row, one: Moment) -> bool:
    """Tell whether a moment fails."""
    return one.again_ms is not None or bool(one.trouble) or not (one.came_to_zero or row.may_drive_on)


def _moment_at(index: int, seed: str, number: int) -> Moment:
    return at_work(lambda: moment(list(rows())[index], seed, number))


def main() -> None:
    """Print the table."""
    chosen = arguments(__doc__, 100).parse_args()
    kept = [(index, row) for index, row in zip(count(), rows()) if all(text in row.name for text in chosen.only)]
    print(f"{'row':<66} {'moments':>7} {'again':>6} {'drove on':>8} {'first ms':>8}")
    failed = 0
    with ProcessPoolExecutor(chosen.side_by_side, initializer=clear_away_when_ended) as pool:
        numbers = range(chosen.moments)
        waiting = [
            (row, [pool.submit(_moment_at, index, chosen.seed, number) for number in numbers]) for index, row in kept
        ]
        for row, futures in waiting:
            found = [future.result() for future in futures]
            failed += not row.is_impossible and any(fails(row, one) for one in found)
            print(line_of(row, found), flush=True)
    print(f"{failed} rows with a failure, of {len(kept)}")
    sys.exit(failed > 0)


if __name__ == "__main__":
    main()
