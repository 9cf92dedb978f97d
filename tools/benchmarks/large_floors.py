"""How long a step takes on large floors, by the robot's own thread: how many keep within a quarter of the period.

``python tools/benchmarks/large_floors.py [WIDTHxDEPTH ...]``, in m; by default up to 30 x 20. Each floor has a
partition with a doorway every 5 m, posts between, and nine jars. Times depend on the computer, so that the share is
told for one that is two and four times as slow, too: wanted are 99.9 %.
"""

import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

import yaml
from position import ROOT, copy_tree

from rover.core import Core
from rover.session.assembly import with_user_activities
from rover.session.on_bench import Rehearsal

FLOORS = ("6x4", "10x8", "15x10", "20x15", "30x20")
ROBOT_S = 600.0
SLOWER = (1, 2, 4)
WANTED = 0.999


def errand_on(width, depth):
    """Return an errand file's keys for a floor of so many m."""
    boundary = [[0.0, 0.0], [width, 0.0], [width, depth], [0.0, depth]]
    walls = {f"side_{side}": [corner, boundary[(side + 1) % 4]] for side, corner in enumerate(boundary)}
    for x in range(5, width - 1, 5):
        door = depth * (0.25 if x % 2 else 0.7)
        walls |= {f"below_{x}": [[x, 0.0], [x, door]], f"above_{x}": [[x, door + 0.9], [x, depth]]}
        walls |= {f"post_{x}": [[x - 2.5, 0.6 * depth], [x - 2.4, 0.6 * depth]]}
    lengths = {name: [[f"{x} m", f"{y} m"] for x, y in ends] for name, ends in walls.items()}
    zone = {"x": "75 cm", "y": "75 cm", "width": "1.2 m", "depth": "1.2 m", "entry": "180 deg"}
    return {
        "errand": "Bring in what stands about a large floor",
        "files": {
            "robot": "cart.yaml",
            "behaviour": "../behaviours/collect.yaml",
            "bench": "bay.yaml",
        },
        "field": {
            "boundary": [[f"{x} m", f"{y} m"] for x, y in boundary],
            "start": {"x": "2 m", "y": "60 cm", "heading": "0 deg"},
            "north": "90 deg",
            "walls": lengths,
            "zone": zone,
        },
        "kinds": {kind: {"lid": kind, "height": "60 mm", "width": "50 mm"} for kind in ("amber", "teal", "violet")},
        "order": "nearest",
    }


class LongEnoughError(Exception):
    """Long enough."""


def stepped(errand):
    """Rehearse for a while; return the period (s), and of each step its thread time (s) and the behaviour's state."""
    took, inner = [], Core.step

    def timed(core, readings):
        begun = time.thread_time()
        decided = inner(core, readings)
        took.append((time.thread_time() - begun, decided.state))
        if readings.now_ns > ROBOT_S * 1e9:
            raise LongEnoughError
        return decided

    Core.step = timed
    try:
        rehearsal = Rehearsal(*with_user_activities(errand, {}), 1, errand.with_suffix(".sqlite"))
        rehearsal.run(lambda *_: None)
    except LongEnoughError:
        pass
    finally:
        Core.step = inner
    return 1.0 / rehearsal.core.known.robot.loop, took


def main():
    """Measure the floors asked for."""
    print(f"{'floor':>7}  steps  " + "  ".join(f"{'as slow as this' if n == 1 else f'{n} times':>15}" for n in SLOWER))
    is_missed = False
    for floor in sys.argv[1:] or FLOORS:
        width, depth = (int(side) for side in floor.split("x"))
        with tempfile.TemporaryDirectory() as folder:
            for part in ("config", "behaviours"):
                copy_tree(ROOT / part, Path(folder) / part)
            errand = Path(folder) / "config" / "large.yaml"
            errand.write_text(yaml.safe_dump(errand_on(width, depth), sort_keys=False), "utf-8")
            period, took = stepped(errand)
        limit = 0.25 * period
        shares = [sum(times * seconds < limit for seconds, _ in took) / len(took) for times in SLOWER]
        is_missed = is_missed or shares[0] < WANTED
        worst = max(took)
        print(
            f"{floor:>7}  {len(took):5}  "
            + "  ".join(f"{share:15.3%}" for share in shares)
            + f"   worst {worst[0] * 1e3:.1f} ms in {worst[1]}"
        )
        where = Counter(path for seconds, path in took if SLOWER[-1] * seconds >= limit)
        print("         longest in: " + ", ".join(f"{path} ({times})" for path, times in where.most_common(4)))
    return 1 if is_missed else 0


if __name__ == "__main__":
    sys.exit(main())
