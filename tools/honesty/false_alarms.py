"""Errands on which no device lies: whatever names one as wrong, and every stop, is a false alarm.

    python tools/honesty/false_alarms.py [--full 20] [--short 200] [--case steel] [--without SAFEGUARD] [--into FILE]

Two floors and eight robots, with so many full errands (nine jars) and short ones (one jar) of each. Each alarm is
printed with the command that shows it. Exit code 1 if there is any.
"""

import sys
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from rehearsing import ROOT, Runs, alarm_of, arguments, rehearsed

from rover.files.given import Given
from rover.trials.campaign import command_of
from rover.trials.statistics import wilson
from rover.trials.trial import Trial, WatchedRehearsal, is_success
from rover.trials.words import aligned, percent

ERRAND = ROOT / "config" / "greenhouse.yaml"
ON_MILD = {"errand.files.bench": "mild.yaml"}
ONE_JAR = {"bench.scatter": {"amber": 1}, "errand.expect": 1}


def _robot(track, wheel, counts, loop, top_speed, limit) -> dict[str, Any]:
    """Return the values of a robot of another size; track, wheel (m), loop (Hz), speeds (m/s)."""
    length = max(0.16, track)
    return {
        "robot.loop": f"{loop} Hz",
        "robot.body.track": f"{track} m",
        "robot.body.wheel_diameter": f"{wheel} m",
        "robot.body.counts_per_rev": counts,
        "robot.body.width": f"{track + 0.03:.3f} m",
        "robot.body.length": f"{length:.3f} m",
        "robot.body.gripper_reach": f"{0.5 * length + 0.04:.3f} m",
        "robot.devices.drive.top_speed": f"{top_speed} m/s",
        "robot.devices.counts.rate": f"{loop} Hz",
        "robot.devices.range.ahead": f"{0.5 * length - 0.02:.3f} m",
        "robot.devices.camera.ahead": f"{0.25 * length:.3f} m",
        "robot.limits.speed": f"{limit} m/s",
    }


CASES: Mapping[str, Given] = {
    "mild": Given(ON_MILD),
    "steel": Given({"errand.files.bench": "steel.yaml"}),
    "20 counts a revolution": Given(ON_MILD | {"robot.body.counts_per_rev": 20}),
    "heading without rate": Given(ON_MILD, ("at 0 s: heading without rate",)),
    "turns about a point 3 cm ahead": Given(ON_MILD | {"bench.floor.turn_ahead": "3 cm"}),
    "slips as badly as may be": Given(
        ON_MILD
        | {
            "bench.floor.slip": "5 %",
            "bench.floor.slip_every": "10 s",
            "bench.floor.slip_burst": "60 %",
            "bench.floor.slip_lasts": "800 ms",
        }
    ),
    "small and slow": Given(ON_MILD | _robot(0.12, 0.05, 300, 20, 0.3, 0.2)),
    "large and fast": Given(ON_MILD | _robot(0.5, 0.15, 2400, 40, 1.5, 0.6)),
    "weak motors": Given(
        ON_MILD
        | {
            "bench.motors.mismatch": "20 %",
            "bench.motors.dead_band": "20 %",
            "bench.motors.lag": "250 ms",
            "bench.battery.charge": "50 %",
            "bench.battery.resistance_factor": 1.3,
        }
    ),
    "poor sensors": Given(
        ON_MILD
        | {
            "bench.counts.missed": "2 %",
            "bench.heading.noise": "2 deg",
            "bench.heading.drift": "3 deg",
            "bench.range.noise": "2 cm",
            "bench.range.missing": "30 %",
            "bench.camera.latency": "250 ms",
            "bench.camera.missed": "20 %",
        }
    ),
}


class Quiet(NamedTuple):
    """An errand on which no device lies."""

    trial: Trial
    case: str
    is_short: bool


@dataclass(frozen=True)
class Row:
    """What was heard on an errand.

    Attributes:
        command: shows it.
        case, is_short: as in `Quiet`.
        is_success: all was brought, and truly so.
        alarms: (robot time in s, device or ``stop``, why).
        error: why there is no run.
    """

    command: str
    case: str = ""
    is_short: bool = False
    is_success: bool = False
    alarms: Sequence[tuple[float, str, str]] = field(default_factory=list)
    error: str = ""


class Listening(WatchedRehearsal):
    """A rehearsal that keeps its alarms."""

    def __init__(self, *given: Any, **parts: Any) -> None:
        super().__init__(*given, **parts)
        self.alarms: list[tuple[float, str, str]] = []

    def after_step(self, given, decided):
        """Keep the alarms of a step."""
        super().after_step(given, decided)
        for event in decided.events:
            if (alarm := alarm_of(event, given.now_ns * 1e-9)) is not None:
                self.alarms.append(tuple(alarm))


def listen(quiet: Quiet) -> Row:
    """Rehearse, and return what was heard."""
    run, result = rehearsed(Listening, quiet.trial)
    success = is_success(result, has_tray=True)
    return Row(command_of(quiet.trial), quiet.case, quiet.is_short, success, run.alarms, run.error)


def quiet_errands(cases: Mapping[str, Given], full: int, short: int, first_seed: int, without: str) -> Iterator[Quiet]:
    """Yield so many full and short errands of each case."""
    for name, given in cases.items():
        for is_short, count in ((False, full), (True, short)):
            values = {**given.values, **(ONE_JAR if is_short else {})}
            for seed in range(first_seed, first_seed + count):
                trial = Trial(0, "", ERRAND, seed, Given(values, given.faults), without=without)
                yield Quiet(trial, name, is_short)


HEADS = ("", "+full", "+all in", "+with alarms", "+short", "+all in", "+with alarms")


def table(rows: Sequence[Row]) -> Iterator[str]:
    """Yield a line for each case, under `HEADS`."""
    cells = []
    for case in dict.fromkeys(row.case for row in rows):
        of_case = [[row for row in rows if (row.case, row.is_short) == (case, is_short)] for is_short in (False, True)]
        cells.append([case, *(str(number) for some in of_case for number in _counts(some))])
    yield from aligned(HEADS, cells)


def _counts(rows: Sequence[Row]) -> tuple[int, int, int]:
    return len(rows), sum(row.is_success for row in rows), sum(bool(row.alarms) for row in rows)


def told(rows: Iterable[Row]) -> Iterator[str]:
    """Yield each run with alarms, and those of which nothing came."""
    for row in rows:
        for at_s, what, why in row.alarms:
            yield f"{row.case}, at {at_s:.1f} s: {what}: {why}"
        if row.error:
            yield f"{row.case}: {row.error}"
        if row.alarms or row.error:
            yield f"    {row.command}"


def main(words: Sequence[str] | None = None) -> int:
    parser = arguments(__doc__)
    parser.add_argument("--full", type=int, default=20, help="full errands of each case")
    parser.add_argument("--short", type=int, default=200, help="short ones of each")
    parser.add_argument("--case", action="append", default=[], choices=list(CASES))
    given = parser.parse_args(words)
    cases = {name: CASES[name] for name in given.case or CASES}
    errands = list(quiet_errands(cases, given.full, given.short, given.seed, given.without))
    rows = sorted(Runs(given.into, Row).rows(errands, listen, given.jobs), key=lambda row: list(CASES).index(row.case))
    print("\n".join(table(rows)))
    heard = sum(bool(row.alarms) for row in rows)
    share = wilson(heard, len(rows))
    print(f"\n{heard} of {len(rows)} errands with false alarms ({percent(share.low)} to {percent(share.high)} %)")
    for line in told(rows):
        print(line)
    return 1 if heard or any(row.error for row in rows) else 0


if __name__ == "__main__":
    sys.exit(main())
