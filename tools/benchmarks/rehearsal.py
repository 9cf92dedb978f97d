"""Direct rehearsal against real time, on one core, and where a step's time goes; the memory of the process.

Each seed is run three times and the quickest counts: what else the computer does only ever makes it slower.
"""

import resource
import tempfile
import time
from collections import defaultdict
from pathlib import Path

from rover.core import Core
from rover.core.performer import ActivityPerformer
from rover.session.assembly import with_user_activities
from rover.session.drivers import Drivers
from rover.session.on_bench import Rehearsal

DECIDE = "decide step"
ERRAND = Path(__file__).parents[2] / "config" / "greenhouse.yaml"


def rehearse(seed):
    """Return (robot time in s, CPU seconds, steps) of one rehearsal; loading left out, the record included."""
    assembly, activities = with_user_activities(ERRAND, {})
    with tempfile.TemporaryDirectory() as folder:
        rehearsal = Rehearsal(assembly, activities, seed, Path(folder) / "run.sqlite", wired=False)
        begun = time.process_time()
        result = rehearsal.run(lambda *_: None)
        return result.robot_time_s, time.process_time() - begun, result.steps


def parts(seed):
    """Return us a step by part, each part's calls timed from outside (which costs a little itself)."""
    spent = defaultdict(float)

    def timed(cls, name, label):
        inner = getattr(cls, name)

        def wrapper(*args, **kwargs):
            begun = time.perf_counter()
            try:
                return inner(*args, **kwargs)
            finally:
                spent[label] += time.perf_counter() - begun

        setattr(cls, name, wrapper)
        return lambda: setattr(cls, name, inner)

    undo = [
        timed(Drivers, "poll", "bench and its devices"),
        timed(Drivers, "apply", "commands to the bench"),
        timed(Core, "_estimate", "estimator, frames included"),
        timed(Core, "_fill_signals", "signals"),
        timed(Core, "_behave", DECIDE),
        timed(ActivityPerformer, "step", "motion: activity"),
        timed(Core, "_limit", "motion: limits"),
        timed(Core, "_command", "motion: wheel control"),
    ]
    try:
        _, _, steps = rehearse(seed)
    finally:
        for restore in undo:
            restore()
    spent[DECIDE] -= spent["motion: activity"]
    return {label: seconds / steps * 1e6 for label, seconds in spent.items()}


def megabytes():
    """Return the most memory this process has used."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def main():
    robot_times = seconds_in_all = 0.0
    for seed in (1, 2, 3):
        robot_time, seconds, steps = min((rehearse(seed) for _ in range(3)), key=lambda run: run[1])
        robot_times += robot_time
        seconds_in_all += seconds
        each = seconds / steps * 1e6
        print(f"seed {seed}: {robot_time:.0f} s of robot time in {seconds:.2f} s of one core, {each:.0f} us a step")
    print(f"direct rehearsal: {robot_times / seconds_in_all:.0f} times real time; process {megabytes():.0f} MB at most")
    spent = parts(1)
    for label, microseconds in sorted(spent.items(), key=lambda row: -row[1]):
        print(f"  {label:28}{microseconds:6.1f} us a step")
    both = sum(microseconds for label, microseconds in spent.items() if label.startswith(("estimator", "motion")))
    print(f"  estimator plus motion {both:.1f} us a step, beside {spent[DECIDE]:.1f} us for the decide step")


if __name__ == "__main__":
    main()
