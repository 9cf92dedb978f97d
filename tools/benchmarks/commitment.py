"""Between two equal jars: how often the robot changes its mind on the way, with commitment and without.

``python tools/benchmarks/commitment.py [--runs 200]``. Two jars of one kind stand equally far to the left and to the
right of the robot's way; it looks round and drives up to one of them. Without commitment the best of each frame is the
target: that is put in from here, the product has no such switch.
"""

import argparse
import tempfile
from contextlib import contextmanager
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple

import yaml

from rover.core.targeting import TargetChoice
from rover.session.assembly import with_user_activities
from rover.session.on_bench import Rehearsal

ROOT = Path(__file__).parents[2]
JARS = {"left": 1.5, "right": 0.9}
"""Side -> y (m); the robot starts between the two."""
ERRAND = {
    "errand": "Drive up to one of two",
    "files": {"robot": "cart.yaml", "bench": "two.yaml", "behaviour": "two_behaviour.yaml"},
    "field": {
        "boundary": [["0 m", "0 m"], ["3.2 m", "0 m"], ["3.2 m", "2.4 m"], ["0 m", "2.4 m"]],
        "start": {"x": "60 cm", "y": "1.2 m", "heading": "0 deg"},
    },
    "kinds": {"amber": {"lid": "amber", "height": "60 mm", "width": "50 mm"}},
}
BENCH = {
    "bench": "Two equal jars",
    "objects": [{"kind": "amber", "x": "2.2 m", "y": f"{y} m"} for y in JARS.values()],
}
BEHAVIOUR = {
    "behaviour": "Drive up to one of two",
    "start": "look",
    "states": {
        "look": {
            "does": "sweep",
            "exits": [
                {"when": "target.known", "go": "approach"},
                {"when": "done", "go": "astray"},
                {"after": "20 s", "go": "astray"},
            ],
        },
        "approach": {
            "does": "close_in",
            "exits": [
                {"when": "done", "go": "there"},
                {"when": "failed", "go": "astray"},
                {"after": "60 s", "go": "astray"},
            ],
        },
        "there": {"final": "done"},
        "astray": {"final": "failed"},
    },
}


class Run(NamedTuple):
    """One approach: how often the target changed from one jar to the other, whether it arrived, robot time (s)."""

    switches: int
    arrived: bool
    seconds: float


def best_of_the_frame(choice, pose, *among):
    """Choose as `TargetChoice.choose` would without commitment."""
    choice.targets.chosen = None
    return choose(choice, pose, *among)


choose = TargetChoice.choose


@contextmanager
def sides_chosen(way):
    """Let targets be chosen in a way; gives the list to which the side of each frame's target is added."""
    sides = []

    def noted(choice, pose, *among):
        taken = way(choice, pose, *among)
        if (chosen := choice.targets.chosen) is not None:
            sides.append(min(JARS, key=lambda side: abs(JARS[side] - chosen.y)))
        return taken

    TargetChoice.choose = noted
    try:
        yield sides
    finally:
        TargetChoice.choose = choose


def errand_in(folder):
    """Write the errand and all it names; return its path."""
    (folder / "cart.yaml").write_text((ROOT / "config" / "cart.yaml").read_text())
    for name, values in (("two.yaml", BENCH), ("two_behaviour.yaml", BEHAVIOUR), ("errand.yaml", ERRAND)):
        (folder / name).write_text(yaml.safe_dump(values, sort_keys=False))
    return folder / "errand.yaml"


def approach(seed, way=choose):
    """Return the run of one seed."""
    with tempfile.TemporaryDirectory() as folder, sides_chosen(way) as sides:
        assembly, activities = with_user_activities(errand_in(Path(folder)), {})
        result = Rehearsal(assembly, activities, seed, Path(folder) / "run.sqlite").run(lambda *_: None)
    switches = sum(one != other for one, other in pairwise(sides))
    return Run(switches, result.result == "done", result.robot_time_s)


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=200)
    seeds = range(1, parser.parse_args().runs + 1)
    print(f"{len(seeds)} seeds      switches  runs with any  most in a run  arrived  mean time (s)")
    for name, way in (("committed", choose), ("uncommitted", best_of_the_frame)):
        runs = [approach(seed, way) for seed in seeds]
        switches = [run.switches for run in runs]
        print(
            f"{name:14} {sum(switches):8}  {sum(map(bool, switches)):13}  {max(switches):13}"
            f"  {sum(run.arrived for run in runs):7}  {sum(run.seconds for run in runs) / len(runs):13.1f}"
        )


if __name__ == "__main__":
    main()
