"""The diagnosis bench: runs each with one hidden cause, and whether `rover show` alone names it or its device.

    python tools/diagnosis/bench.py [--runs 40] [--seed 1] [--jobs 1] [--into FOLDER] [--each]

A cause is drawn by the seed from `causes.py`, and edited into copies of the demo's files. The rules look at nothing of
a rehearsal's truth nor at the bench file (`tests/diagnosis/test_rules.py` holds them to that), so a record from a robot
would say the same. Named is what the pattern of the cause is found in, of the four suspects at most that `show` prints.
Exit code 1 where less than 28 of 40 are named. ``--each`` runs every cause once instead, and ``--healthy`` none.
"""

import argparse
import re
import shutil
import sys
import tempfile
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import yaml
from causes import CAUSES, Cause, Drawn, draw

from rover.diagnosis.evidence import evidence_of
from rover.diagnosis.finding import Finding
from rover.diagnosis.rules import found_in
from rover.errors import UserError
from rover.session.rehearse import rehearse

HERE, ROOT = Path(__file__).parent, Path(__file__).parents[2]
FILES = {"errand": "greenhouse.yaml", "robot": "cart.yaml", "bench": "bay.yaml"}
WANTED = 0.7
HEALTHY = Cause("nothing is wrong", "(?!)")


@dataclass(frozen=True)
class Row:
    """What came of a run: its result, whom `show` suspects, the gravest first, and the place at which the cause is."""

    drawn: Drawn
    result: str
    suspects: tuple[str, ...]
    place: int | None
    record: Path


def files_with(drawn: Drawn, folder: Path) -> Path:
    """Copy the demo's files into a folder, edit a cause into them, and return the errand file's path."""
    shutil.copytree(ROOT / "config", folder / "config")
    shutil.copytree(ROOT / "behaviours", folder / "behaviours")
    for kind, name in FILES.items():
        edits = [(key, value) for of, key, value in drawn.edits if of == kind]
        _edit(folder / "config" / name, edits, drawn.faults if kind == "bench" else ())
    return folder / "config" / FILES["errand"]


def run(drawn: Drawn, folder: Path) -> Row:
    """Rehearse with a cause, and have the record explained."""
    errand, record = files_with(drawn, folder), folder / "run.sqlite"
    try:
        result = rehearse(errand, seed=drawn.seed, drivers=[HERE], record=record)
    except UserError as error:
        return Row(drawn, f"refused: {error}", (), None, record)
    findings = found_in(evidence_of(record))
    place = next((n for n, one in enumerate(findings, 1) if _names(one, drawn.cause)), None)
    ended = f"{result.result} ({result.reason}), {result.delivered} of {result.objects}"
    return Row(drawn, ended, tuple(one.suspicion.whom for one in findings), place, record)


def _names(finding: Finding, cause: Cause) -> bool:
    return re.search(cause.named, finding.suspicion.whom) is not None


def _edit(path: Path, edits: Sequence[tuple[str, Any]], faults: Sequence[str]) -> None:
    values = yaml.safe_load(path.read_text("utf-8"))
    for key, value in edits:
        *outer, last = key.split(".")
        block = values
        for name in outer:
            block = block.setdefault(name, {})
        if value is None:
            block.pop(last, None)
        else:
            block[last] = value
    if faults:
        values["faults"] = list(faults)
    path.write_text(yaml.safe_dump(values, sort_keys=False, default_flow_style=None), "utf-8")


def lines_of(number: int, row: Row) -> str:
    """Return what came of a run, in three lines."""
    named = "not named" if row.place is None else f"named, as number {row.place}"
    rule = "" if row.drawn.cause.has_rule else " (no rule of its own)"
    what = "; ".join((*row.drawn.faults, *(f"{key}: {value}" for _, key, value in row.drawn.edits)))
    lines = (
        f"{number:3d}  {row.drawn.cause.name}{rule}: {named}",
        f"     {what}; seed {row.drawn.seed}: {row.result}",
        f"     suspects: {', '.join(row.suspects) or 'nobody'}",
    )
    return "\n".join(lines)


def main(words: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--runs", type=int, default=40)
    parser.add_argument("--seed", type=int, default=1, help="of the draw")
    parser.add_argument("--jobs", type=int, default=1, help="processes side by side")
    parser.add_argument("--into", type=Path, help="folder to keep files and records in")
    parser.add_argument("--each", choices=("ruled", "all"), help="run every cause once: those with a rule, or all")
    parser.add_argument("--healthy", action="store_true", help="nothing is wrong: whom does it suspect all the same?")
    given = parser.parse_args(words)
    among = (HEALTHY,) if given.healthy else CAUSES
    drawn = draw(given.runs, given.seed, among)
    if given.each:
        some = [cause for cause in CAUSES if given.each == "all" or cause.has_rule]
        drawn = [one for number, cause in enumerate(some) for one in draw(1, given.seed + number, (cause,))]
    with tempfile.TemporaryDirectory() as scratch, ProcessPoolExecutor(given.jobs) as pool:
        folder = given.into or Path(scratch)
        rows = []
        for row in pool.map(run, drawn, [folder / f"{number:02d}" for number in range(1, len(drawn) + 1)]):
            rows.append(row)
            print(lines_of(len(rows), row), flush=True)
    return summed_up(rows)


def summed_up(rows: Sequence[Row]) -> int:
    """Print how many were named, and return the exit code."""
    named = [row for row in rows if row.place is not None]
    firsts, suspects = sum(row.place == 1 for row in named), sum(len(row.suspects) for row in rows)
    print(
        f"\nnamed {len(named)} of {len(rows)}, as the first {firsts}; suspects a run {suspects / max(len(rows), 1):.1f}"
    )
    for has_rule, what in ((True, "with a rule of their own"), (False, "without one")):
        some = [row for row in rows if row.drawn.cause.has_rule is has_rule]
        print(f"  {what}: {sum(row.place is not None for row in some)} of {len(some)}")
    return int(len(named) < WANTED * len(rows))


if __name__ == "__main__":
    sys.exit(main())
