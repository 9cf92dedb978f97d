"""The demo's errand on another physics: what the robot believes, beside what truly happened, over many seeds.

``python tools/benchmarks/other_physics.py [--seeds 1-20] [--pictures] [--keep FOLDER]``. Rigid bodies with contact and
friction (tests/physics/rigid_world), one process; ``--pictures``: the engine draws the frames, and the vision reads
them; ``--keep``: where files and records stay. A line a seed, printed as soon as it is known.
"""

import argparse
import math
import os
import statistics
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT / "tests/physics"))
HEAD = (
    "seed  result   reason       counted  truly  finds  empty  error at finds (m): median  worst  in 95 % ellipse  "
    "pose error (m): rms  worst  bumps  touched  in tray  let go  fallen  outside (s)  driven (m)  time (s)"
)


def pose_errors(run):
    """Return how far (m) the robot believed to be from where it was, at each point of its track."""
    true = {pose.at_ns: pose for pose in run.true_track}
    pairs = [(sample.point, true[sample.at_ns]) for sample in run.track if sample.at_ns in true]
    return [math.dist((point.x, point.y), (pose.x, pose.y)) for point, pose in pairs]


def row(seed, folder, pictures):
    """Rehearse once; return the line and the figures for the last one."""
    from rigid_world.errand import DRAWN, rehearse, write_errand

    from rover.record.reader import read
    from rover.report.figures import errors_of

    errand = write_errand(folder, DRAWN if pictures else None)
    _, result, record = rehearse(errand, seed)
    run = read(record)
    errors, away, truth = list(errors_of(run).values()), pose_errors(run), result.truth
    axis = [error.larger_axis for error in errors] or [math.nan]
    inside = sum(error.inside for error in errors)
    rms = math.sqrt(statistics.fmean(distance * distance for distance in away))
    print(
        f"{seed:4}  {result.result:7}  {result.reason:11}  {result.delivered:7}  {truth.delivered:5}"
        f"  {len(result.finds):5}  {truth.empty_finds:5}  {statistics.median(axis):26.3f}  {max(axis):5.3f}"
        f"  {inside:8} of {len(errors):2}      {rms:19.3f}  {max(away):5.3f}  {truth.bumps:5}  {truth.touched:7}"
        f"  {truth.touched_in_tray:7}  {truth.let_go_outside:6}  {truth.fallen:6}  {truth.outside_s:11.1f}"
        f"  {truth.driven_m:10.0f}  {result.robot_time_s:8.0f}",
        flush=True,
    )
    return result, errors


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seeds", default="1-20", metavar="FIRST-LAST")
    parser.add_argument("--pictures", action="store_true")
    parser.add_argument("--keep", type=Path, metavar="FOLDER")
    given = parser.parse_args()
    os.environ.setdefault("MUJOCO_GL", "egl" if given.pictures else "off")  # before the engine is imported
    first, last = map(int, given.seeds.split("-"))
    print(HEAD)
    done = []
    with tempfile.TemporaryDirectory() as scratch:
        for seed in range(first, last + 1):
            folder = (given.keep or Path(scratch)) / str(seed)
            folder.mkdir(parents=True)
            done.append(row(seed, folder, given.pictures))
    results, errors = [result for result, _ in done], [error for _, found in done for error in found]
    counted, truly = (
        sum(numbers) for numbers in zip(*((r.delivered, r.truth.delivered) for r in results), strict=True)
    )
    axis = [error.larger_axis for error in errors]
    print(
        f"all   {sum(r.result == 'done' for r in results)} of {len(results)} done; counted {counted}, truly {truly} of "
        f"{sum(r.truth.objects for r in results)}; axis errors at finds: median {statistics.median(axis):.3f} m, "
        f"worst {max(axis):.3f} m, {sum(error.inside for error in errors)} of {len(errors)} in their 95 % ellipse; "
        f"{sum(r.truth.bumps for r in results)} bumps, {sum(r.truth.touched for r in results)} touched"
    )


if __name__ == "__main__":
    main()
