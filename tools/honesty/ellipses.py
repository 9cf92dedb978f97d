"""Are finds where the robot says, as surely as it says? Drawn benches, many runs on each.

    python tools/honesty/ellipses.py [--benches 30] [--runs 60] [--ranges FILE] [--errand FILE] [--into FILE]

Wanted: of all finds 93 to 97 % inside their 95 % ellipse, on each bench 88 to 99.5 %, and a median of the squared
Mahalanobis distance from 0.7 to 2.1 (chi-square with two degrees of freedom has 1.39). Finds of one run err alike, so
that an interval takes them together. Exit code 1 where an interval, or the median, shows that it is otherwise.
"""

import math
import statistics
import sys
import tempfile
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, NamedTuple

from rehearsing import ROOT, Runs, arguments, share_by_run

from rover import quantities
from rover.estimate.ellipse import CHI_SQUARE_2_95
from rover.events import Find
from rover.files.given import Given
from rover.files.load import load
from rover.quantities import QuantityError
from rover.record.reader import read
from rover.record.run import TrueFind
from rover.trials.campaign import command_of
from rover.trials.draws import Drawn, draws
from rover.trials.statistics import Estimate
from rover.trials.trial import Trial, run_trial
from rover.trials.words import aligned, with_interval

ALL_INSIDE, EACH_INSIDE, MEDIAN = (0.93, 0.97), (0.88, 0.995), (0.7, 2.1)
LINKED = 0.01
"""Chance below which it is told that the benches' medians go with what was drawn."""


class OnBench(NamedTuple):
    """A run on a drawn bench."""

    trial: Trial
    bench: int


@dataclass(frozen=True)
class Row:
    """What a run found.

    Attributes:
        command: shows it.
        bench: number of the bench.
        drawn: its values by key, as in a file.
        squares: of each find, the squared Mahalanobis distance between where it was and where it is said to be.
        errors_m: of each, the distance.
        empty: finds of nothing.
        result: of the errand.
        error: why there is no run.
    """

    command: str
    bench: int = 0
    drawn: Mapping[str, Any] = field(default_factory=dict)
    squares: Sequence[float] = field(default_factory=list)
    errors_m: Sequence[float] = field(default_factory=list)
    empty: int = 0
    result: str = ""
    error: str = ""


def find_all(one: OnBench) -> Row:
    """Rehearse, and return what was found."""
    with tempfile.TemporaryDirectory(prefix="rover-finds-") as folder:
        record = Path(folder) / "run.sqlite"
        row = run_trial(replace(one.trial, record=record, keeps_all=True))
        run = read(record) if record.exists() else None
    finds = [] if run is None else [one.event for one in run.happenings if isinstance(one.event, Find)]
    true = [(find, run.true_finds[find.number]) for find in finds if find.number in run.true_finds]
    return Row(
        command_of(one.trial),
        one.bench,
        dict(one.trial.drawn),
        [squared_distance(*pair) for pair in true],
        [math.dist((find.x, find.y), (so.x, so.y)) for find, so in true],
        len(finds) - len(true),
        row.result,
        row.error,
    )


def squared_distance(find: Find, true: TrueFind) -> float:
    """Return the squared Mahalanobis distance of a find from where the object stood."""
    dx, dy = find.x - true.x, find.y - true.y
    return (find.yy * dx * dx - 2.0 * find.xy * dx * dy + find.xx * dy * dy) / (find.xx * find.yy - find.xy**2)


def inside(runs: Iterable[Sequence[float]]) -> Estimate | None:
    """Return the share of finds inside their 95 % ellipse, from the squared distances of each run's finds."""
    return share_by_run([(sum(square <= CHI_SQUARE_2_95 for square in squares), len(squares)) for squares in runs])


class Bench(NamedTuple):
    """What came of a bench, or of all.

    Attributes:
        runs, finds: how many.
        inside: share of the finds, with its interval.
        median: of the squared distances.
        error_95, worst: of the errors (m).
    """

    runs: int
    finds: int
    inside: Estimate
    median: float
    error_95: float
    worst: float


def summed_up(rows: Sequence[Row]) -> Bench | None:
    """Return what some runs come to; None without finds."""
    errors = sorted(error for row in rows for error in row.errors_m)
    share = inside([row.squares for row in rows])
    if share is None:
        return None
    median = statistics.median(square for row in rows for square in row.squares)
    return Bench(len(rows), len(errors), share, median, errors[math.ceil(0.95 * len(errors)) - 1], errors[-1])


def is_outside(share: Estimate, wanted: tuple[float, float]) -> bool:
    """Whether an interval shows that a share is not what is wanted."""
    return share.high < wanted[0] or share.low > wanted[1]


HEADS = ("bench", "+runs", "+finds", "inside", "+median", "+error 95 % (mm)", "+worst (mm)", "")


def table(benches: Mapping[int, Bench], pooled: Bench) -> Iterator[str]:
    """Yield a line for each bench, the least honest first, and one for all, under `HEADS`."""
    order = sorted(benches, key=lambda number: abs(benches[number].inside.value - 0.95), reverse=True)
    rows = [_cells(str(number), benches[number], EACH_INSIDE) for number in order]
    yield from aligned(HEADS, [*rows, _cells("all", pooled, ALL_INSIDE)])


def _cells(name: str, one: Bench, wanted: tuple[float, float]) -> list[str]:
    mark = "OUTSIDE" if is_outside(one.inside, wanted) else "" if wanted[0] <= one.inside.value <= wanted[1] else "near"
    return [
        *(name, str(one.runs), str(one.finds), with_interval(one.inside), f"{one.median:.2f}"),
        *(f"{1000 * one.error_95:.0f}", f"{1000 * one.worst:.0f}", mark),
    ]


def linked(benches: Mapping[int, Bench], drawn: Mapping[int, Mapping[str, Any]]) -> Iterator[str]:
    """Yield what the benches' medians go with, by Spearman's rank correlation."""
    from scipy import stats  # seconds

    medians = [one.median for one in benches.values()]
    for key in next(iter(drawn.values()), {}):
        values = [number_of(drawn[bench][key]) for bench in benches]
        if len({*values}) > 3 and None not in values:
            found = stats.spearmanr(values, medians)
            if found.pvalue < LINKED:
                yield f"the more {key}, the {'larger' if found.statistic > 0 else 'smaller'} the squared distances"


def number_of(value: Any) -> float | None:
    """Return a value of a file as a number (SI), None where it is none."""
    try:
        return quantities.parse(str(value)).value
    except QuantityError:
        return None


def planned(errand: Path, drawn: Sequence[Drawn], runs: int, seed: int, without: str) -> Iterator[OnBench]:
    """Yield so many runs on each drawn bench; no two runs have the same seed."""
    for number, one in enumerate(drawn):
        for run in range(runs):
            trial = Trial(0, "", errand, seed + number * runs + run, Given(one.values), one.values, without)
            yield OnBench(trial, number + 1)


def main(words: Sequence[str] | None = None) -> int:
    parser = arguments(__doc__)
    parser.add_argument("--benches", type=int, default=30, help="how many are drawn")
    parser.add_argument("--runs", type=int, default=60, help="on each")
    parser.add_argument("--ranges", type=Path, default=ROOT / "tools" / "honesty" / "benches.yaml")
    parser.add_argument("--errand", type=Path, default=ROOT / "config" / "greenhouse.yaml")
    given = parser.parse_args(words)
    drawn = list(draws(load(given.ranges, "ranges").model, given.benches, given.seed))
    tasks = list(planned(given.errand, drawn, given.runs, given.seed, given.without))
    return show(list(Runs(given.into, Row).rows(tasks, find_all, given.jobs)))


def show(rows: Sequence[Row]) -> int:
    """Print what some runs come to, and return the exit code."""
    by_bench = {number: [row for row in rows if row.bench == number] for number in sorted({row.bench for row in rows})}
    benches = {number: found for number, some in by_bench.items() if (found := summed_up(some)) is not None}
    pooled = summed_up(rows)
    if pooled is None:
        print("nothing was found")
        return 1
    print("\n".join(table(benches, pooled)))
    print(f"\nended as {', '.join(f'{name} {count}' for name, count in Counter(row.result for row in rows).items())}")
    for row in rows:
        if row.result == "stopped":
            print(f"bench {row.bench}: stopped\n    {row.command}")
    print(f"finds of nothing: {sum(row.empty for row in rows)}")
    drawn = {number: by_bench[number][0].drawn for number in benches}
    for line in linked(benches, drawn):
        print(line)
    worst = max(rows, key=lambda row: max(row.errors_m, default=0.0))
    least = max(benches, key=lambda number: abs(benches[number].inside.value - 0.95))
    print(f"largest error: {1000 * max(worst.errors_m):.0f} mm on bench {worst.bench}\n    {worst.command}")
    print(f"least honest: bench {least}: {', '.join(f'{key} {value}' for key, value in drawn[least].items())}")
    for row in rows:
        if row.error:
            print(f"bench {row.bench}: {row.error.strip().splitlines()[-1]}\n    {row.command}")
    is_wrong = is_outside(pooled.inside, ALL_INSIDE) or not MEDIAN[0] <= pooled.median <= MEDIAN[1]
    is_wrong |= any(is_outside(one.inside, EACH_INSIDE) for one in benches.values())
    return 1 if is_wrong or any(row.error for row in rows) else 0


if __name__ == "__main__":
    sys.exit(main())
