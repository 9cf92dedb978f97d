"""`rover check` against the start of a bare interpreter that imports numpy: whole processes, turn about."""

import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
COMMANDS = {
    "python importing numpy": [sys.executable, "-c", "import numpy"],
    "rover check behaviour": [sys.executable, "-m", "rover", "check", "behaviours/collect.yaml"],
    "rover check errand": [sys.executable, "-m", "rover", "check", "config/greenhouse.yaml"],
    "rover --help": [sys.executable, "-m", "rover", "--help"],
}


def measure():
    """Return (command, best of ten in ms, ratio to the first)."""
    best = dict.fromkeys(COMMANDS, float("inf"))
    for _ in range(10):
        for name, command in COMMANDS.items():
            begun = time.perf_counter()
            subprocess.run(command, cwd=ROOT, check=True, capture_output=True)
            best[name] = min(best[name], time.perf_counter() - begun)
    reference = best["python importing numpy"]
    return [(name, seconds * 1e3, seconds / reference) for name, seconds in best.items()]


def main():
    for name, milliseconds, ratio in measure():
        print(f"{name:28}{milliseconds:7.0f} ms   {ratio:5.2f} times")


if __name__ == "__main__":
    main()
