"""Twelve robots, slow and fast, small and large, on the same errand: nothing is retuned but the robot file's numbers.

``python tools/benchmarks/robots.py``
"""

import tempfile
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import yaml
from position import ROOT, copy_tree

from rover.session.assembly import with_user_activities
from rover.session.on_bench import Rehearsal

# track (m), wheel (mm), counts a revolution, loop (Hz), top speed (m/s), speed limit (m/s)
ROBOTS = (
    (0.12, 50, 300, 20, 0.30, 0.20),
    (0.15, 60, 600, 50, 0.40, 0.30),
    (0.18, 65, 960, 50, 0.50, 0.35),
    (0.20, 70, 1320, 100, 0.80, 0.40),
    (0.24, 72, 1320, 50, 0.60, 0.40),
    (0.24, 72, 400, 20, 0.60, 0.40),
    (0.28, 80, 2000, 50, 0.70, 0.45),
    (0.30, 90, 1200, 30, 0.90, 0.50),
    (0.34, 100, 3000, 100, 1.00, 0.50),
    (0.38, 120, 960, 50, 1.20, 0.50),
    (0.44, 130, 4000, 50, 1.00, 0.60),
    (0.50, 150, 2400, 40, 1.50, 0.60),
)


def robot_file(track, wheel_mm, counts, loop, top, limit):
    """Return the demo's robot file with other measures."""
    robot = yaml.safe_load((ROOT / "config" / "cart.yaml").read_text())
    length = max(0.16, track)
    body = robot["body"]
    body.update(
        wheel_diameter=f"{wheel_mm} mm",
        track=f"{track} m",
        counts_per_rev=counts,
        width=f"{track + 0.03:.3f} m",
        length=f"{length:.3f} m",
        gripper_reach=f"{0.5 * length + 0.04:.3f} m",
    )
    robot["loop"] = f"{loop} Hz"
    devices = robot["devices"]
    devices["drive"]["top_speed"] = f"{top} m/s"
    devices["counts"]["rate"] = f"{loop} Hz"
    devices["range"]["ahead"] = f"{0.5 * length - 0.02:.3f} m"
    devices["camera"]["ahead"] = f"{0.25 * length:.3f} m"
    robot["limits"]["speed"] = f"{limit} m/s"
    return robot


def rehearse(job):
    """Return (delivered, objects, worst axis error in m, robot time in s, result) of one robot."""
    measures, seed = job
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder)
        copy_tree(ROOT / "behaviours", root / "behaviours")
        copy_tree(ROOT / "config", root / "config")
        (root / "config" / "cart.yaml").write_text(yaml.safe_dump(robot_file(*measures), sort_keys=False))
        assembly, activities = with_user_activities(root / "config" / "greenhouse.yaml", {})
        result = Rehearsal(assembly, activities, seed, root / "run.sqlite", wired=False).run(lambda *_: None)
        return result.truth.delivered, result.objects, result.worst_axis_error_m, result.robot_time_s, result.result


def main():
    with ProcessPoolExecutor() as pool:
        results = list(pool.map(rehearse, [(measures, 1) for measures in ROBOTS]))
    print("track (m)  wheel (mm)  counts  loop (Hz)  top (m/s)   delivered  worst axis error (m)  time (s)")
    for measures, (delivered, objects, worst, seconds, result) in zip(ROBOTS, results, strict=True):
        track, wheel, counts, loop, top, _ = measures
        error = "-" if worst is None else f"{worst:.3f}"
        print(
            f"{track:9.2f}  {wheel:10}  {counts:6}  {loop:9}  {top:9.2f}   {delivered:4} of {objects}  {error:>20}"
            f"  {seconds:8.0f}  {result}"
        )


if __name__ == "__main__":
    main()
