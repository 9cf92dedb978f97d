"""How well the robot knows where it is: consistency of the pose filter and errors at finds, over many seeded runs.

``python tools/benchmarks/position.py [--runs 200]``. Beside the filter stands unfiltered dead reckoning
from the encoders alone, on the same seeds.
"""

import argparse
import math
import tempfile
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import NamedTuple

import numpy as np
import yaml

from rover.quantities import wrap
from rover.session.assembly import with_user_activities
from rover.session.on_bench import Rehearsal

ROOT = Path(__file__).parents[2]
FLOORS = {"mild": "1 deg", "steel": "6 deg"}
"""Named floor -> what its errand file would say of the heading's error there."""
NEES_95 = 7.8147
"""95 % quantile of chi-square with three degrees of freedom (scipy.stats.chi2.ppf)."""
NEES_MEAN_200 = (2.66, 3.36)
"""95 % interval of the mean of 200 independent values of that distribution."""


class Run(NamedTuple):
    """One rehearsal: NEES every two seconds, errors (m, rad), and what became of the jars."""

    seed: int
    nees: list[float]
    heading_rms: float
    worst_find: float
    encoder_only: float
    touched: int
    delivered: int
    objects: int


class Encoders:
    """Dead reckoning from the counts alone, with the robot file's first guess of the track."""

    def __init__(self, robot, start):
        self.x, self.y, self.heading = start.x, start.y, start.heading or 0.0
        self._robot, self._last = robot, None

    def take(self, counts):
        last, self._last = self._last, counts
        if last is None:
            return
        step = self._robot.body.metres_per_count
        left, right = (counts.left - last.left) * step, (counts.right - last.right) * step
        turn = (right - left) / self._robot.body.effective_track
        middle = self.heading + 0.5 * turn
        self.x += 0.5 * (left + right) * math.cos(middle)
        self.y += 0.5 * (left + right) * math.sin(middle)
        self.heading += turn


def errand_on(floor, folder, fixes=True, faults=()):
    """Write the greenhouse errand for a floor into a folder of the project's form, and return its path."""
    config = folder / "config"
    config.mkdir()
    copy_tree(ROOT / "behaviours", folder / "behaviours")
    errand = yaml.safe_load((ROOT / "config" / "greenhouse.yaml").read_text())
    bench = yaml.safe_load((ROOT / "config" / f"{floor}.yaml").read_text())
    bench["faults"] = list(faults)
    errand["field"]["heading_error"] = FLOORS[floor]
    if not fixes:
        del errand["field"]["walls"], errand["field"]["zone"]["marker"]
    (config / "cart.yaml").write_text((ROOT / "config" / "cart.yaml").read_text())
    (config / "bay.yaml").write_text(yaml.safe_dump(bench, sort_keys=False))
    (config / "greenhouse.yaml").write_text(yaml.safe_dump(errand, sort_keys=False))
    return config / "greenhouse.yaml"


def run(seed, floor="mild", fixes=True, faults=(), mistune=None):
    """Rehearse once and return the `Run`; ``mistune(filter)`` may spoil the filter first."""
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder)
        path = errand_on(floor, root, fixes, faults)
        assembly, activities = with_user_activities(path, {})
        rehearsal = Watched(assembly, activities, seed, root / "run.sqlite", wired=False)
        if mistune is not None:
            mistune(rehearsal.core.known.filter)
        return watch(rehearsal, seed)


def copy_tree(source, target):
    for file in source.rglob("*.yaml"):
        place = target / file.relative_to(source)
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_text(file.read_text())


class Watched(Rehearsal):
    """A rehearsal in which dead reckoning from the encoders alone goes along."""

    def __init__(self, assembly, activities, seed, record, *, wired):
        super().__init__(assembly, activities, seed, record, wired=wired)
        self.encoders = Encoders(assembly.robot, assembly.errand.field.start)

    def after_step(self, given, decided):
        super().after_step(given, decided)
        for family, reading in given.new:
            if family == "counts":
                self.encoders.take(reading.value)


def watch(rehearsal, seed):
    """Run a rehearsal with the truth beside it."""
    encoders = rehearsal.encoders
    nees, heading, far = [], [], [0.0]

    def look(robot_time_s, state, delivered):
        truth, pose = rehearsal.bench.pose, rehearsal.core.pose
        xx, xy, xt, yy, yt, tt = rehearsal.core.covariance()
        error = np.array([pose.x - truth.x, pose.y - truth.y, wrap(pose.heading - truth.heading)])
        nees.append(float(error @ np.linalg.solve([[xx, xy, xt], [xy, yy, yt], [xt, yt, tt]], error)))
        heading.append(error[2])
        far.append(max(far[-1], abs(encoders.x - truth.x), abs(encoders.y - truth.y)))

    result = rehearsal.run(look)
    return Run(
        seed,
        nees,
        float(np.sqrt(np.mean(np.square(heading)))),
        result.worst_axis_error_m or 0.0,
        far[-1],
        result.truth.touched_in_tray,
        result.truth.delivered,
        result.objects,
    )


def many(seeds, **how):
    """Return the runs of many seeds, as many at a time as there are cores."""
    with ProcessPoolExecutor() as pool:
        return list(pool.map(_one, [(seed, how) for seed in seeds]))


def _one(job):
    seed, how = job
    return run(seed, **how)


class Summary(NamedTuple):
    """Of many runs: mean of NEES, share of it below its 95 % bound, and 95th percentiles (m)."""

    mean_nees: float
    within: float
    find_95: float
    encoder_95: float
    heading_rms: float
    untouched: float
    all_delivered: float


def summary(runs):
    values = np.concatenate([each.nees for each in runs])
    return Summary(
        float(values.mean()),
        float((values < NEES_95).mean()),
        float(np.percentile([each.worst_find for each in runs], 95)),
        float(np.percentile([each.encoder_only for each in runs], 95)),
        float(np.sqrt(np.mean([each.heading_rms**2 for each in runs]))),
        float(np.mean([each.touched == 0 for each in runs])),
        float(np.mean([each.delivered == each.objects for each in runs])),
    )


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--runs", type=int, default=20)
    runs = parser.parse_args().runs
    silent = ("at 60 s: heading silent for 60 s",)
    rows = {
        "mild, with fixes": {"floor": "mild"},
        "mild, without fixes": {"floor": "mild", "fixes": False},
        "mild, heading silent 60 s": {"floor": "mild", "faults": silent},
        "mild, link silent": {"floor": "mild", "faults": ("at random every 8 s: link silent for 700 ms",)},
        "mild, counts late": {"floor": "mild", "faults": ("at random every 8 s: counts late by 150 ms for 2 s",)},
        "mild, counts restart": {"floor": "mild", "faults": ("at random every 15 s: counts rebooting for 500 ms",)},
        "steel, with fixes": {"floor": "steel"},
    }
    print(f"{runs} runs each; worst axis error at finds and of dead reckoning: 95th percentiles")
    print(
        f"{'':28}NEES mean  below 95 % bound  finds (m)  encoders only (m)  heading rms (deg)  tray untouched  all in"
    )
    for name, how in rows.items():
        of = summary(many(range(1, runs + 1), **how))
        print(
            f"{name:28}{of.mean_nees:9.2f}  {of.within:16.1%}  {of.find_95:9.3f}  {of.encoder_95:17.2f}"
            f"  {math.degrees(of.heading_rms):17.2f}  {of.untouched:14.0%}  {of.all_delivered:6.0%}"
        )


if __name__ == "__main__":
    main()
