"""Traces the walks of DEVELOPERS.md: which files a reading, a frame and a command pass.

    ROVER_INTERPRETED=1 python tools/walks.py    # compiled functions are not seen

A wired rehearsal of the greenhouse is begun and watched until each station of a walk has been called; what stands on
the call stack there, from where the walk begins, are the files that a reader opens. Leaves that only compute (limits,
wheels, covariances, sentences) are found by name from these. Exit code 1 where a walk is longer than it may be, or goes
back to a file other than ``step.py``.
"""

import contextlib
import itertools
import sys
import tempfile
import threading
from collections.abc import Collection, Mapping
from pathlib import Path
from types import FrameType
from typing import NamedTuple

from rover.activities.registry import ACTIVITIES
from rover.session.assembly import assemble
from rover.session.on_bench import Rehearsal

ROOT = Path(__file__).resolve().parents[1]
PACKAGE = str(ROOT / "rover") + "/"


Place = tuple[str, str]
"""A file, or a folder, and the function called there."""


class Walk(NamedTuple):
    """The files on the stack from a beginning to each station; backwards where a value goes from callee to caller."""

    begins: Place
    stations: tuple[Place, ...]
    backwards: bool = False


STEP, HOST = ("core/step.py", "step"), ("session/on_bench.py", "next_step")
WALKS: dict[str, tuple[int, tuple[Walk, ...]]] = {
    "from a driver to the step's readings": (
        4,
        (Walk(HOST, (("devices/counts/co_processor.py", "_value_of"),), backwards=True),),
    ),
    "through the core, from a reading to duties": (
        6,
        (Walk(STEP, (("estimate/pose.py", "drive"), ("activities/", "step"), ("motion/carriage.py", "duties"))),),
    ),
    "from a command to the line": (
        5,
        (
            Walk(("session/drivers.py", "apply"), (("guard/in_process.py", "command"),)),
            Walk(
                ("guard/in_process.py", "_turn"), (("guard/actuators.py", "obey"), ("guard/serial_output.py", "drive"))
            ),
        ),
    ),
    "from a frame to a chosen target": (
        8,
        (
            Walk(HOST, (("bench/devices.py", "poll"),), backwards=True),
            Walk(("session/loop.py", "_loop"), (("vision/targets.py", "update"),)),
        ),
    ),
}
"""What is walked -> the most files that it may pass, and its parts.

In a wired rehearsal ``guard/in_process.py`` stands where on the robot the guard's own process is, ``guard/guard.py``,
and a stand-in of the bench where the camera's driver is.
"""


class EverythingFoundError(Exception):
    """Every station has been called."""


def chain(frame: FrameType, begins: Place) -> list[str] | None:
    """Return the package's files on the call stack from where a walk begins to a frame; None: it did not begin."""
    files: list[str] = []
    at: FrameType | None = frame
    while at is not None:
        if at.f_code.co_filename.startswith(PACKAGE):
            files.append(at.f_code.co_filename.removeprefix(PACKAGE))
            if (files[-1], at.f_code.co_name) == begins:
                return files[::-1]
        at = at.f_back
    return None


def trace(walks: Collection[Walk]) -> dict[tuple[Walk, Place], list[str]]:
    """Return the files to each station of each walk."""
    found: dict[tuple[Walk, Place], list[str]] = {}
    wanted = {(walk, station) for walk in walks for station in walk.stations}

    def look(frame: FrameType, event: str, argument: object) -> None:
        path = frame.f_code.co_filename
        if event != "call" or not path.startswith(PACKAGE):
            return
        for walk, (place, function) in wanted - found.keys():
            if frame.f_code.co_name == function and path.removeprefix(PACKAGE).startswith(place):
                files = chain(frame, walk.begins)
                if files is not None:
                    found[walk, (place, function)] = files

    def progress(*_: object) -> None:
        if found.keys() == wanted:
            raise EverythingFoundError

    with tempfile.TemporaryDirectory() as folder:
        threading.setprofile(look)
        assembly = assemble(ROOT / "config/greenhouse.yaml", {})
        rehearsal = Rehearsal(assembly, ACTIVITIES, 1, Path(folder) / "run.sqlite", wired=True)
        sys.setprofile(look)
        try:
            with contextlib.suppress(EverythingFoundError):
                rehearsal.run(progress)
        finally:
            sys.setprofile(None)
            threading.setprofile(None)
    return found


def walked(walk: Walk, found: Mapping[tuple[Walk, Place], list[str]]) -> list[str]:
    """Return the files in the order of reading; from station to station back only to where the ways part."""
    files: list[str] = []
    before: list[str] = []
    for station in walk.stations:
        to = found[walk, station]
        common = sum(1 for _ in itertools.takewhile(lambda pair: pair[0] == pair[1], zip(before, to, strict=False)))
        files += to[max(0, common - 1) :]
        before = to
    return files[::-1] if walk.backwards else files


def main() -> int:
    found = trace([walk for _, walks in WALKS.values() for walk in walks])
    is_fine = True
    for name, (most, walks) in WALKS.items():
        files = [file for file, _ in itertools.groupby(itertools.chain(*(walked(walk, found) for walk in walks)))]
        rooms = list(dict.fromkeys(files))
        climbs = [file for index, file in enumerate(files) if file in files[:index] and file != STEP[0]]
        is_fine &= len(rooms) <= most and not climbs
        print(f"{name}: {len(rooms)} files (at most {most})")
        print("  " + " -> ".join(files))
        if climbs:
            print(f"  back to {', '.join(climbs)}")
    return 0 if is_fine else 1


if __name__ == "__main__":
    sys.exit(main())
