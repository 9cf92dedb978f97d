"""Robots that differ in what tells them of a grip: camera, switch, opening, echo, or nothing.

    python tools/honesty/grips.py [--seeds 20] [--robot echo] [--without SAFEGUARD] [--into FILE]

Wanted: at least 95 % of the objects delivered, counted and truly there, by the four that have evidence; the fifth is
refused by `rover check`. What comes of one run goes together, and the interval takes that in. Exit code 1 where it is
otherwise.
"""

import subprocess
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from rehearsing import ROOT, Runs, arguments, rehearsed, share_by_run

from rover.trials.campaign import command_of
from rover.trials.trial import Trial, WatchedRehearsal
from rover.trials.words import aligned, with_interval

ERRANDS = {
    name: ROOT / "tests" / "grips" / f"by_{name}.yaml" for name in ("camera", "switch", "opening", "echo", "none")
}
REFUSED = "none"
WANTED = 0.95


class ByEvidence(NamedTuple):
    """An errand of the robot that goes by this evidence."""

    trial: Trial
    evidence: str


@dataclass(frozen=True)
class Row:
    """What a robot brought.

    Attributes:
        command: shows the run.
        evidence: what tells it of a grip.
        objects: how many there are.
        counted, there: how many it counts as delivered, and how many are.
        result: of the errand.
        error: why there is no run.
    """

    command: str
    evidence: str = ""
    objects: int = 0
    counted: int = 0
    there: int = 0
    result: str = ""
    error: str = ""

    @property
    def delivered(self) -> int:
        """How many are there and counted."""
        return min(self.counted, self.there)


def fetch(one: ByEvidence) -> Row:
    """Rehearse, and return what was brought."""
    run, result = rehearsed(WatchedRehearsal, one.trial)
    truth = result.truth
    assert truth is not None
    return Row(
        command_of(one.trial), one.evidence, truth.objects, result.delivered, truth.delivered, result.result, run.error
    )


HEADS = ("by", "+runs", "+objects", "delivered", "+counted, not there", "+not counted")


def table(rows: Sequence[Row]) -> Iterator[str]:
    """Yield a line for each kind of evidence, under `HEADS`."""
    cells = []
    for evidence in dict.fromkeys(row.evidence for row in rows):
        some = [row for row in rows if row.evidence == evidence]
        share = share_by_run((row.delivered, row.objects) for row in some)
        cells.append(
            [
                *(evidence, str(len(some)), str(sum(row.objects for row in some))),
                "-" if share is None else with_interval(share),
                str(sum(max(row.counted - row.there, 0) for row in some)),
                str(sum(max(row.there - row.counted, 0) for row in some)),
            ]
        )
    yield from aligned(HEADS, cells)


def wrong(rows: Sequence[Row]) -> Iterator[str]:
    """Yield what is not as it should be, each in a line or two."""
    for evidence in dict.fromkeys(row.evidence for row in rows):
        some = [row for row in rows if row.evidence == evidence]
        if sum(row.delivered for row in some) < WANTED * sum(row.objects for row in some):
            yield f"by {evidence}: less than {WANTED:.0%} delivered"
    for row in rows:
        if row.error or row.counted > row.there:
            yield f"by {row.evidence}: {row.error or f'counted {row.counted}, and {row.there} are there'}"
            yield f"    {row.command}"


def refusal() -> str:
    """Return what `rover check` says of the robot that has no evidence; '' where it lets that pass."""
    command = [sys.executable, "-m", "rover", "check", str(ERRANDS[REFUSED])]
    ended = subprocess.run(command, capture_output=True, text=True, check=False)
    return (ended.stdout + ended.stderr).strip() if ended.returncode else ""


def main(words: Sequence[str] | None = None) -> int:
    parser = arguments(__doc__)
    parser.add_argument("--seeds", type=int, default=20, help="how many")
    parser.add_argument("--robot", action="append", default=[], choices=[name for name in ERRANDS if name != REFUSED])
    given = parser.parse_args(words)
    chosen = given.robot or [name for name in ERRANDS if name != REFUSED]
    tasks = [
        ByEvidence(Trial(0, "", ERRANDS[name], seed, without=given.without), name)
        for name in chosen
        for seed in range(given.seed, given.seed + given.seeds)
    ]
    rows = sorted(
        Runs(given.into, Row).rows(tasks, fetch, given.jobs), key=lambda row: list(ERRANDS).index(row.evidence)
    )
    print("\n".join(table(rows)))
    said = refusal()
    print(f"\nby nothing: {said.splitlines()[0] if said else 'rover check lets it pass'}")
    found = list(wrong(rows))
    for line in found:
        print(line)
    return 1 if found or not said else 0


if __name__ == "__main__":
    sys.exit(main())
