"""What the run record costs the loop in a step (us of its thread), all readings recorded; and how large it gets.

A greenhouse run is rehearsed with its readings recorded; the time within `RunRecorder.take` is that of the loop's
thread, what bench and truth add left out. The writer's thread is not in it, but it holds the interpreter's lock at
times: the median is what a step costs, the mean has that too. The aim is 12 us.
"""

import statistics
import tempfile
import time
from pathlib import Path

from rover.session.assembly import with_user_activities
from rover.session.on_bench import Rehearsal
from rover.session.recorder import RunRecorder

ERRAND = Path(__file__).parents[2] / "config" / "greenhouse.yaml"
AIM_US = 12.0


def what_looking_costs_ns():
    """Return what it costs to look at the clock twice, which stands in every measured step."""
    empty = []
    for _ in range(5000):
        begun = time.thread_time_ns()
        empty.append(time.thread_time_ns() - begun)
    return statistics.median(empty)


def main():
    """Print the cost of a step."""
    taken_ns = []
    take = RunRecorder.take

    def timed(self, given, decided):
        self._truth, kept = None, self._truth
        begun = time.thread_time_ns()
        take(self, given, decided)
        taken_ns.append(time.thread_time_ns() - begun)
        self._truth = kept

    RunRecorder.take = timed
    try:
        with tempfile.TemporaryDirectory() as folder:
            record = Path(folder) / "run.sqlite"
            assembly, activities = with_user_activities(ERRAND, {})
            result = Rehearsal(assembly, activities, 1, record, with_readings=True).run(lambda *_: None)
            size = record.stat().st_size
    finally:
        RunRecorder.take = take
    looking_ns = what_looking_costs_ns()
    us = sorted((one - looking_ns) / 1e3 for one in taken_ns)
    print(f"{len(us)} steps: median {statistics.median(us):.1f} us, mean {statistics.mean(us):.1f} us, ", end="")
    print(f"99 % below {us[len(us) * 99 // 100]:.0f} us, at most {us[-1]:.0f} us; the aim is {AIM_US:.0f} us")
    print(f"record: {size / 1e6:.1f} MB, {size / result.robot_time_s / 1e3:.1f} kB a second")


if __name__ == "__main__":
    main()
