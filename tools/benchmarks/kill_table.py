"""How soon the wheels are at zero, and stay there, when something dies, hangs or falls silent: N random moments a row.

``python tools/benchmarks/kill_table.py [--moments 100] [--only TEXT] [--side-by-side 3]`` prints the table. In each
moment the real program, started anew, drives a robot that is not there; after a random while something happens, and
a process of its own which imports nothing of the project (``peer.py``, ``peer_pins.py``) has noted what wheels and jaws
were told. A moment is late unless both wheels are at zero within 300 ms and stay there; its jaws are late if they still
push when ``push_for`` is over. Where `rover run` or `rover jog` gets a signal, it has to end too, its record closed.
The exit status is 1 if anything was late that is not listed as impossible.

Rows are called ``FAULT, PROGRAM, PATH``; ``--only`` takes several texts, all of which have to be in the name.
"""

import argparse
import ctypes
import json
import os
import random
import resource
import signal
import sqlite3
import statistics
import sys
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from itertools import combinations, count
from pathlib import Path
from typing import NamedTuple, TypeVar

from kill_rigs import ON_STOP, OPEN_US, PROCESSES, PUSH_FOR_S, Change, NotTriedError, Rig, rig

T = TypeVar("T")
ALLOWED_MS = 300.0
TERMINATED = 143
_PR_SET_PDEATHSIG = 1
JAWS_SLACK_S = 0.35
WATCHED_S = PUSH_FOR_S + JAWS_SLACK_S + 0.1
END_WITHIN_S = 7.0
"""Own code that never returns is given five seconds."""
ADAPTER_BYTES = 256
SERIAL = ("serial", "serial without deadline")
ALL = (*SERIAL, "pins")

Make = Callable[[Rig], int]
"""Makes the fault and returns when it was (ns)."""


class Row(NamedTuple):
    """A fault, and what it happens to.

    Attributes:
        has_signals: the terminal is the program's controlling one, so that it hears of its end.
        must_end: the program has to end, and its record to be closed.
        jaws: they are told to push, and have to stop in time.
        impossible: why nobody can do it in time, else empty.
    """

    fault: str
    program: str
    path: str
    make: Make
    has_signals: bool = True
    must_end: bool = False
    jaws: bool = True
    impossible: str = ""

    @property
    def name(self) -> str:
        """Fault, program and path."""
        return f"{self.fault}, {self.program}, {self.path}"


class Moment(NamedTuple):
    """What became of one.

    Attributes:
        zero_ms: when the wheels were at zero for good; infinite: never.
        is_again: they had been at zero before that.
        jaws_late: they pushed on.
        trouble: why it could not be tried, or what else was wrong.
    """

    zero_ms: float
    is_again: bool = False
    jaws_late: bool = False
    trouble: str = ""


def sends(number: int, *names: str) -> Make:
    return lambda rig: rig.signal(number, names)


def on_line(*words: object) -> Make:
    def make(rig: Rig) -> int:
        assert rig.line is not None
        return rig.line.do(*words)

    return make


def hangs_up(rig: Rig) -> int:
    now_ns = rig.signal(0, ["runtime"])
    rig.is_key_held = False
    rig.hang_up()
    return now_ns


def lets_go(rig: Rig) -> int:
    rig.is_key_held = False
    return rig.signal(0, ["runtime"])


def fills_disk(rig: Rig) -> int:
    runtime = rig.process("runtime")
    _, hard = resource.prlimit(runtime, resource.RLIMIT_FSIZE)
    resource.prlimit(runtime, resource.RLIMIT_FSIZE, (1, hard))
    return rig.signal(0, ["runtime"])


def hangs(where: str, how: str, then: int = 0) -> Make:
    """Have an own activity or driver hang, and a while after that send a signal."""

    def make(rig: Rig) -> int:
        (rig.folder / "asked").write_text(f"{where} {how}")
        (rig.folder / "asked").rename(rig.folder / "hang")
        if not rig.watch((rig.folder / "hung").exists, END_WITHIN_S):
            raise NotTriedError(f"the {where} does not hang")
        rig.watch(lambda: False, 0.1)
        rig.signal(then, ["runtime"])
        return int((rig.folder / "hung").read_text())

    return make


def rows() -> list[Row]:
    """Return all rows."""
    return [*deaths(), *signals(), *loops(), *line_faults(), *terminals(), *others()]


def deaths() -> Iterable[Row]:
    for number, verb in ((signal.SIGKILL, "killed"), (signal.SIGSTOP, "halted")):
        for size in (1, 2, 3):
            for names in combinations(PROCESSES, size):
                for path in ALL:
                    is_left = size < len(PROCESSES)  # somebody; otherwise the board lets go of the jaws after 10 s
                    why = "" if is_left or path == "serial" else "nobody is left, and the board has no deadline"
                    make = sends(number, *names)
                    yield Row(f"{' and '.join(names)} {verb}", "run", path, make, jaws=is_left, impossible=why)
        for names in (("runtime",), ("guard",), ("supervisor",)):
            for path in ALL:
                yield Row(f"{names[0]} {verb}", "jog", path, sends(number, *names), jaws=False)


def signals() -> Iterable[Row]:
    for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
        for path in ALL:
            yield Row(number.name, "run", path, sends(number, "runtime"), must_end=True)
            yield Row(number.name, "jog", path, sends(number, "runtime"), must_end=True, jaws=False)


def loops() -> Iterable[Row]:
    for where in ("activity", "driver"):
        for how in ("python", "c"):
            for path in ALL:
                yield Row(f"own {where} loops in {how}", "run", path, hangs(where, how))
                for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
                    fault = f"own {where} loops in {how}, then {number.name}"
                    yield Row(fault, "run", path, hangs(where, how, number), must_end=True)
    for how in ("python", "c"):
        fault = f"own driver loops in {how}, then SIGTERM"
        yield Row(fault, "jog", "serial", hangs("driver", how, signal.SIGTERM), must_end=True, jaws=False)


def line_faults() -> Iterable[Row]:
    for program in ("run", "jog"):
        for path in SERIAL:
            is_cut_off = path != "serial"
            for fault in ("silent", "garbage"):
                yield Row(f"line {fault}", program, path, on_line(fault), jaws=program == "run")
            why = "the board cannot be reached, and has no deadline" if is_cut_off else ""
            yield Row("line closed", program, path, on_line("unplug"), jaws=False, impossible=why)
            for room in (0, ADAPTER_BYTES):
                fault = f"line stalled, {room} bytes in its adapter"
                yield Row(fault, program, path, on_line("stall", room), jaws=False, impossible=why)
        for fault in ("silent", "garbage"):
            yield Row(f"line {fault}", program, "old board", on_line(fault), jaws=program == "run")


def terminals() -> Iterable[Row]:
    for program in ("run", "jog"):
        for path in ALL:
            jaws = program == "run"
            yield Row("terminal hung up", program, path, hangs_up, must_end=True, jaws=jaws)
            yield Row("terminal gone without a signal", program, path, hangs_up, has_signals=False, jaws=jaws)
    for path in ALL:
        yield Row("key let go", "jog", path, lets_go, jaws=False)


def others() -> Iterable[Row]:
    for path in ALL:
        yield Row("disk full under the record", "light", path, fills_disk)
    for number, verb in ((signal.SIGKILL, "killed"), (signal.SIGSTOP, "halted")):
        yield Row(f"runtime {verb}", "run", "jaws on pins", sends(number, "runtime"))


def measure(row: Row, seed: str, numbers: Iterable[int]) -> list[Moment]:
    """Return what becomes of the moments of these numbers."""
    return [moment(row, number, random.Random(f"{seed} {row.name} {number}")) for number in numbers]


def moment(row: Row, number: int, chance: random.Random) -> Moment:
    """Start everything, let it drive for a random while, make the fault, and judge."""
    with rig(row.path, ON_STOP[number % len(ON_STOP)]) as robot:
        try:
            robot.start(row.program, is_session_leader=row.has_signals)
            robot.drive(chance.uniform(0.1, 0.4))
            from_ns = row.make(robot)
        except NotTriedError as error:
            return Moment(float("inf"), trouble=str(error))
        robot.watch(lambda: False, WATCHED_S)
        trouble = why_not_ended(robot) if row.must_end else ""
        zero_ms, is_again = wheels_after(robot.wheels.history(), from_ns)
        jaws_late = row.jaws and pushes(robot.jaws.history(), from_ns, robot.on_stop)
        return Moment(zero_ms, is_again, jaws_late, trouble)


def wheels_after(history: list[Change], from_ns: int) -> tuple[float, bool]:
    """Return how long after a time the wheels were at zero for good (ms), and whether they had been before that."""
    if history[-1].is_moving:
        return float("inf"), any(not change.is_moving for change in history if change.now_ns > from_ns)
    since = next((index + 1 for index in reversed(range(len(history))) if history[index].is_moving), 0)
    stood = [change for change in history[:since] if change.now_ns > from_ns and not change.is_moving]
    return max(0.0, (history[since].now_ns - from_ns) / 1e6), bool(stood)


def pushes(history: list[Change], from_ns: int, on_stop: str) -> bool:
    """Tell whether the jaws are told to push, other than to open where that is wanted, when their time is over."""
    over_ns = from_ns + (PUSH_FOR_S + JAWS_SLACK_S) * 1e9
    last = [change for change in history if change.now_ns <= over_ns][-1]
    later = {change.pulse_us for change in history if change.now_ns > over_ns}
    return bool({last.pulse_us, *later} - {0, OPEN_US if on_stop == "release" else 0})


def why_not_ended(robot: Rig) -> str:
    """Wait for the program to end; return what is wrong: it lives on, or its record has no end."""
    if not robot.watch(robot.has_ended, END_WITHIN_S):
        return f"alive after {END_WITHIN_S:g} s"
    records = list((robot.folder / "runs").glob("*.sqlite"))
    if not records:
        return "no record"
    with sqlite3.connect(records[0]) as record:
        ends = record.execute("SELECT count(*) FROM outcome").fetchone()[0]
    return "" if ends else f"exit code {robot.exit_code()}, the record has no end"


def is_late(found: Moment) -> bool:
    """Tell whether a moment fails."""
    return found.zero_ms > ALLOWED_MS or found.is_again or found.jaws_late or bool(found.trouble)


def line_of(row: Row, found: list[Moment]) -> str:
    """Return a row of the table."""
    times = [one.zero_ms for one in found]
    late = sum(time > ALLOWED_MS or one.is_again for time, one in zip(times, found, strict=True))
    jaws = f"{sum(one.jaws_late for one in found)}" if row.jaws else "-"
    again, troubles = sum(one.is_again for one in found), [one.trouble for one in found if one.trouble]
    words = [f"impossible: {row.impossible}"] if row.impossible else []
    words += [f"{len(troubles)}: {troubles[0]}"] if troubles else []
    return (
        f"{row.name:<66} {len(found):>7} {late:>5} {again:>6} {max(times):>6.0f} {statistics.median(times):>6.0f}"
        f" {jaws:>5}  {'; '.join(words)}"
    ).rstrip()


HEADING = f"{'row':<66} {'moments':>7} {'late':>5} {'again':>6} {'worst':>6} {'median':>6} {'jaws':>5}"


def clear_away_when_ended() -> None:
    """Have SIGTERM, and the end of who collects, end a worker in order, and what it has started with it."""
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(TERMINATED))
    ctypes.CDLL(None).prctl(_PR_SET_PDEATHSIG, signal.SIGTERM)


def at_work(work: Callable[[], T]) -> T:
    """Do a worker's work; its pool would take the request to end for a failure of this one moment."""
    try:
        return work()
    except SystemExit:
        os._exit(TERMINATED)


def _measure_at(index: int, seed: str, numbers: list[int]) -> list[Moment]:
    return at_work(lambda: measure(rows()[index], seed, numbers))


def arguments(about: str | None, moments: int) -> argparse.ArgumentParser:
    """Return the options that all such tables have."""
    parser = argparse.ArgumentParser(description=about, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--moments", type=int, default=moments, metavar="N", help="in each row")
    parser.add_argument("--seed", default="1")
    parser.add_argument("--only", nargs="*", default=[], metavar="TEXT", help="rows with all these texts in their name")
    parser.add_argument("--side-by-side", type=int, default=1, metavar="K", help="so many robots at once")
    return parser


def main() -> None:
    """Print the table."""
    parser = arguments(__doc__, 100)
    parser.add_argument("--json", type=Path, metavar="FILE", help="write all moments there")
    parser.add_argument("--list", action="store_true", help="print the names of the rows, and do nothing")
    chosen = parser.parse_args()
    kept = [(index, row) for index, row in zip(count(), rows()) if all(text in row.name for text in chosen.only)]
    if chosen.list:
        print(*(row.name for _, row in kept), sep="\n")
        return
    print(HEADING)
    failed, everything = 0, {}
    with ProcessPoolExecutor(chosen.side_by_side, initializer=clear_away_when_ended) as pool:
        numbers = range(chosen.moments)
        waiting = [
            (row, [pool.submit(_measure_at, index, chosen.seed, [number]) for number in numbers]) for index, row in kept
        ]
        for row, futures in waiting:
            found = [one for future in futures for one in future.result()]
            everything[row.name] = [one._asdict() for one in found]
            failed += not row.impossible and any(map(is_late, found))
            print(line_of(row, found), flush=True)
    if chosen.json:
        chosen.json.write_text(json.dumps(everything, indent=1))
    print(f"{failed} rows with a failure, of {len(kept)}")
    sys.exit(failed > 0)


if __name__ == "__main__":
    main()
