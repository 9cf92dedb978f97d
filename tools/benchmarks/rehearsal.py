"""A step of a direct rehearsal, its record included, against one of the bare loop; where its time goes; memory.

Interpreted, and compiled if tools/compile.sh has been run, each in a process of its own. They are measured turn about,
several times, and the quickest of each counts: what else the computer does only ever makes it slower.
"""

import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from pathlib import Path

import bare_loop

from rover.bench.bench import Bench
from rover.core import Core
from rover.core.performer import ActivityPerformer
from rover.core.senses import Senses
from rover.session.assembly import with_user_activities
from rover.session.drivers import Drivers
from rover.session.on_bench import Rehearsal
from rover.session.recorder import RunRecorder

ERRAND = Path(__file__).parents[2] / "config" / "greenhouse.yaml"
SEEDS = (1, 2, 3)
TURNS = 3
INTERPRETED = "ROVER_INTERPRETED"
"""An environment variable: where it is set, compiled modules are left alone."""
PARTS = (
    (Bench, "advance", "bench, and what its devices measure"),
    (Drivers, "poll", "drivers polled"),
    (Senses, "take", "senses: estimate, targets, health"),
    (Core, "_fill_signals", "signals"),
    (Core, "_behave", "behaviour"),
    (ActivityPerformer, "step", "activity"),
    (Core, "_limit", "limits"),
    (Core, "_command", "wheel control, commands"),
    (Drivers, "apply", "drivers told"),
    (RunRecorder, "take", "record, and the truth beside it"),
)


def rehearse(seed):
    """Return (CPU us a step, robot time in s, steps) of one rehearsal; loading left out, the record included."""
    assembly, activities = with_user_activities(ERRAND, {})
    with tempfile.TemporaryDirectory() as folder:
        rehearsal = Rehearsal(assembly, activities, seed, Path(folder) / "run.sqlite")
        begun = time.process_time()
        result = rehearsal.run(lambda *_: None)
        return (time.process_time() - begun) / result.steps * 1e6, result.robot_time_s, result.steps


def bare(seed):
    """Return CPU us a step of the bare loop."""
    return bare_loop.measure(with_user_activities(ERRAND, {})[0], seed)


def whole(seed):
    """Return CPU us a step of a rehearsal, how many times faster it is than real time, MB at most, and if compiled."""
    microseconds, robot_time, steps = rehearse(seed)
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    is_compiled = not sys.modules[Core.__module__].__file__.endswith(".py")
    return microseconds, robot_time / (microseconds * 1e-6 * steps), memory, is_compiled


def parts(seed):
    """Return us a step by part, each part's calls timed from outside (which costs a little itself)."""
    spent = defaultdict(float)

    def timed(cls, name, label):
        inner = getattr(cls, name)

        def wrapper(*args, **kwargs):
            begun = time.thread_time()
            try:
                return inner(*args, **kwargs)
            finally:
                spent[label] += time.thread_time() - begun

        setattr(cls, name, wrapper)

    for part in PARTS:
        timed(*part)
    microseconds, _, steps = rehearse(seed)
    by_part = {label: seconds / steps * 1e6 for label, seconds in spent.items()}
    by_part["behaviour"] -= by_part["activity"]
    return {**by_part, "the loop, and what measuring costs": microseconds - sum(by_part.values())}


def apart(measure, seed, *, interpreted):
    """Return what one of these functions measures in a process of its own."""
    environment = {name: value for name, value in os.environ.items() if name != INTERPRETED}
    if interpreted:
        environment[INTERPRETED] = "1"
    command = [sys.executable, __file__, measure.__name__, str(seed)]
    return json.loads(subprocess.run(command, env=environment, stdout=subprocess.PIPE, text=True, check=True).stdout)


def main():
    bare_us, rows = float("inf"), defaultdict(list)
    for _ in range(TURNS):
        for seed in SEEDS:
            bare_us = min(bare_us, apart(bare, seed, interpreted=True))
            for interpreted in (True, False):
                row = apart(whole, seed, interpreted=interpreted)
                rows["compiled" if row[-1] else "interpreted", seed].append(row)
    print(f"bare loop    {bare_us:6.1f} us a step")
    for build in sorted({build for build, _ in rows}, reverse=True):
        quickest = [min(rows[build, seed]) for seed in SEEDS]
        microseconds = sum(row[0] for row in quickest) / len(SEEDS)
        times_real, megabytes = sum(row[1] for row in quickest) / len(SEEDS), max(row[2] for row in quickest)
        print(
            f"{build:12} {microseconds:6.1f} us a step, {microseconds / bare_us:.1f} times the bare loop; "
            f"{times_real:.0f} times real time, {megabytes:.0f} MB at most"
        )
    print("where the time of an interpreted step goes:")
    for label, microseconds in sorted(apart(parts, SEEDS[0], interpreted=True).items(), key=lambda row: -row[1]):
        print(f"  {label:38}{microseconds:6.1f} us")


if __name__ == "__main__":
    if len(sys.argv) > 1:
        print(json.dumps({"bare": bare, "whole": whole, "parts": parts}[sys.argv[1]](int(sys.argv[2]))))
    else:
        main()
