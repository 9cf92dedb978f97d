"""Holds an old commit, or the compiled build, against the working tree: do rehearsals decide the same, step by step?

    python tools/compare.py 3fca4a3                                    # the demo's twenty seeds
    python tools/compare.py 3fca4a3 --errand config/patrol.yaml --seeds 1-3
    python tools/compare.py 3fca4a3 --errand config/old.yaml:config/new.yaml   # renamed since
    python tools/compare.py 3fca4a3 --robots --seeds 1                 # the twelve robots of benchmarks/robots.py
    python tools/compare.py 3fca4a3 --rendered --seeds 1-5
    python tools/compare.py --compiled         # interpreted and compiled (tools/compile.sh), both of the working tree

Of each step state, exits taken, duties and jaws are kept, to the last bit, and hashed; the first step that differs is
shown as both have it. Both trees run on this interpreter, each with its own files; wired runs are real threads, so they
are left out. Exit code 1 where anything differs.
"""

import argparse
import hashlib
import itertools
import os
import shutil
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).resolve().parents[1]
INTERPRETED = "ROVER_INTERPRETED"
"""An environment variable: where it is set, compiled modules are left alone."""
TRACER = """
import sys
from rover.session.on_bench import Rehearsal

applied, out = Rehearsal.apply, open(sys.argv[1], "w", encoding="utf-8")


def apply(rehearsal, decided):
    applied(rehearsal, decided)
    jaws = "-" if decided.jaws is None else decided.jaws.opening
    exits = [f"{event.entered} ({event.exit})" for event in decided.events if hasattr(event, "exit")]
    left, right = decided.drive.left.hex(), decided.drive.right.hex()
    out.write(f"{decided.state or '-'}  duties {left} {right}  jaws {jaws}  {'; '.join(exits)}\\n")


Rehearsal.apply = apply
sys.argv[:2] = ["rover"]
from rover.__main__ import main

main(sys.argv[1:])
"""


class Side(NamedTuple):
    """One of the two that are held together: a tree, and whether it runs interpreted."""

    tree: Path
    interpreted: bool = True

    @property
    def environment(self):
        """Of a process that runs it."""
        rest = {name: value for name, value in os.environ.items() if name != INTERPRETED}
        own = {"PYTHONPATH": str(self.tree), "PYTHONHASHSEED": "0"}
        return {**rest, **own, **({INTERPRETED: "1"} if self.interpreted else {})}


class Job(NamedTuple):
    """One rehearsal: the errand file in the old and in the new tree, the seed, and its further arguments."""

    name: str
    old: Path
    new: Path
    seed: int
    more: tuple[str, ...]


def check_out(revision, folder):
    """Put the tree of a revision into a folder."""
    archive = subprocess.run(["git", "archive", revision], cwd=ROOT, capture_output=True, check=True).stdout
    folder.mkdir()
    subprocess.run(["tar", "-x", "-C", folder], input=archive, check=True)
    return folder


def trace(side, errand, job, folder):
    """Rehearse on one side, and return the file that has a line for each step."""
    folder.mkdir(parents=True)
    lines = folder / "steps"
    arguments = [str(lines), "rehearse", str(errand), "--seed", str(job.seed), "--json", *job.more]
    ended = subprocess.run(
        [sys.executable, "-c", TRACER, *arguments], cwd=folder, env=side.environment, capture_output=True, text=True
    )
    if ended.returncode not in (0, 1):
        sys.exit(f"{job.name} in {side.tree}:\n{ended.stderr}")
    return lines


def first_difference(old, new):
    """Return (number of equal steps, the two lines that differ or None, hash of the equal ones)."""
    digest = hashlib.sha256()
    with old.open() as before, new.open() as after:
        for number, (was, now) in enumerate(itertools.zip_longest(before, after)):
            if was != now:
                return number, (was or "(over)\n", now or "(over)\n"), digest
            digest.update(now.encode())
    return number + 1, None, digest


def hold(job, sides, folder):
    """Run one job on both sides; return whether they decide the same, and the lines that tell."""
    place = folder / job.name.replace("/", "-").replace(" ", "-")
    files = [trace(side, path, job, place / name) for name, side, path in zip("ab", sides, job[1:3], strict=True)]
    number, differing, digest = first_difference(*files)
    shutil.rmtree(place)
    if differing is None:
        return True, f"same       {job.name}: {number} steps, {digest.hexdigest()[:16]}"
    was, now = differing
    return False, f"DIFFERENT  {job.name}: step {number + 1}\n  old  {was}  new  {now}".rstrip()


def compiled_sides():
    """Return the working tree interpreted and compiled."""
    sides = Side(ROOT), Side(ROOT, interpreted=False)
    command = [sys.executable, "-c", "from rover.core import step; print(step.__file__)"]
    used = subprocess.run(command, env=sides[1].environment, stdout=subprocess.PIPE, text=True, check=True).stdout
    if used.strip().endswith(".py"):
        sys.exit("there is no compiled build of these sources; make it with tools/compile.sh")
    return sides


def robot_trees(trees, folder):
    """Return (name, old errand, new errand) of the twelve robots, their files written beside each tree's own."""
    sys.path.insert(0, str(ROOT / "tools" / "benchmarks"))
    import yaml
    from robots import ROBOTS, robot_file

    for number, measures in enumerate(ROBOTS, 1):
        errands = []
        for side, tree in zip("ab", trees, strict=True):
            place = folder / f"robot-{number}-{side}"
            for part in ("config", "behaviours"):
                shutil.copytree(tree / part, place / part)
            (place / "config/cart.yaml").write_text(yaml.safe_dump(robot_file(*measures), sort_keys=False))
            errands.append(place / "config/greenhouse.yaml")
        yield f"robot {number}", *errands


def named_errands(names, trees):
    """Yield (name, old errand, new errand) of errand files of the trees, ``OLD:NEW`` where one was renamed."""
    for name in names:
        old, _, new = name.partition(":")
        yield new or old, trees[0] / old, trees[1] / (new or old)


def seeds_of(text):
    """Return the seeds of ``7`` or ``1-20``."""
    first, _, last = text.partition("-")
    return range(int(first), int(last or first) + 1)


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    which = parser.add_mutually_exclusive_group(required=True)
    which.add_argument("revision", nargs="?", help="of the old commit")
    which.add_argument("--compiled", action="store_true", help="the compiled build, beside the interpreted tree")
    parser.add_argument("--errand", nargs="+", default=["config/greenhouse.yaml"], metavar="FILE[:NEW]")
    parser.add_argument("--seeds", type=seeds_of, default=seeds_of("1-20"), metavar="FIRST-LAST")
    parser.add_argument("--robots", action="store_true", help="the twelve robots, instead of errand files")
    parser.add_argument("--rendered", action="store_true")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="rover-compare-") as temporary:
        folder = Path(temporary)
        sides = compiled_sides() if given.compiled else (Side(check_out(given.revision, folder / "old")), Side(ROOT))
        trees = [side.tree for side in sides]
        errands = robot_trees(trees, folder) if given.robots else named_errands(given.errand, trees)
        more = ("--rendered",) if given.rendered else ()
        jobs = [Job(f"{name} seed {seed}", old, new, seed, more) for name, old, new in errands for seed in given.seeds]
        same = True
        with ThreadPoolExecutor(os.cpu_count()) as pool:
            for is_same, line in pool.map(lambda job: hold(job, sides, folder), jobs):
                same &= is_same
                print(line, flush=True)
    return 0 if same else 1


if __name__ == "__main__":
    sys.exit(main())
