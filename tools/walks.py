"""Traces the walks of DEVELOPERS.md: which files a reading, a motion, a command and a frame pass, and prints them.

    python tools/walks.py

A wired rehearsal of the greenhouse is begun and watched until each station of a walk has been called; what stands on
the call stack there, from where the walk begins, are the files that a reader opens. Leaves that only compute (limits,
wheels, covariances, sentences) are found by name from these. Exit code 1 where a walk is longer than it may be, or goes
back to a file other than ``step.py``.
"""

import sys
import tempfile
import threading
from itertools import groupby
from pathlib import Path
from types import FrameType
from typing import NamedTuple

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))
PACKAGE = str(ROOT / "rover") + "/"


class Walk(NamedTuple):
    """From where it begins to its stations, each (file or folder, function); backwards: values go from callee to caller."""

    name: str
    most: int
    begins: str
    stations: tuple[tuple[str, str], ...]
    backwards: bool = False


WALKS = (
    Walk(
        "from a driver to the step's readings", 4, "next_step", (("devices/counts/co_processor.py", "_value_of"),), True
    ),
    Walk(
        "through the core, from a reading to duties",
        6,
        "step",
        (("core/senses.py", "_take_counts"), ("estimate/pose.py", "drive"), ("activities/", "step"))
        + (("motion/carriage.py", "duties"),),
    ),
    Walk("from a command to the line", 5, "apply", (("guard/client.py", "apply"), ("guard/in_process.py", "command"))),
    Walk("", 5, "_turn", (("guard/actuators.py", "obey"), ("guard/serial_output.py", "flush"))),
    Walk(
        "from a frame to a chosen target",
        8,
        "next_step",
        (("bench/devices.py", "_measure"), ("session/drivers.py", "poll")),
        True,
    ),
    Walk("", 8, "_loop", (("core/targeting.py", "see"), ("vision/targets.py", "update"))),
)


class Found(Exception):
    """Every station has been called."""


def chain(frame: FrameType, begins: str) -> list[str] | None:
    """Return the package's files on the call stack from where a walk begins to a frame; None: it did not begin."""
    files: list[str] = []
    while frame is not None:
        if frame.f_code.co_filename.startswith(PACKAGE):
            files.append(frame.f_code.co_filename.removeprefix(PACKAGE))
            if frame.f_code.co_name == begins:
                return files[::-1]
        frame = frame.f_back
    return None


def trace() -> dict[tuple[int, int], list[str]]:
    """Return the chain of each station, by the numbers of walk and station."""
    from rover.session.assembly import assemble
    from rover.session.on_bench import Rehearsal

    found: dict[tuple[int, int], list[str]] = {}
    wanted = {(walk, number) for walk, one in enumerate(WALKS) for number in range(len(one.stations))}

    def look(frame: FrameType, event: str, argument: object) -> None:
        path = frame.f_code.co_filename
        if event != "call" or not path.startswith(PACKAGE):
            return
        for walk, number in wanted - found.keys():
            place, function = WALKS[walk].stations[number]
            if frame.f_code.co_name == function and path.removeprefix(PACKAGE).startswith(place):
                files = chain(frame, WALKS[walk].begins)
                if files is not None:
                    found[walk, number] = files

    def progress(*_: object) -> None:
        if found.keys() == wanted:
            raise Found

    with tempfile.TemporaryDirectory() as folder:
        threading.setprofile(look)
        rehearsal = Rehearsal(
            assemble(ROOT / "config/greenhouse.yaml", {}), ACTIVITIES, 1, Path(folder) / "run.sqlite", wired=True
        )
        sys.setprofile(look)
        try:
            rehearsal.run(progress)
        except Found:
            pass
        finally:
            sys.setprofile(None)
            threading.setprofile(None)
    return found


def main() -> int:
    found = trace()
    walks: list[tuple[str, int, list[str]]] = []
    for number, walk in enumerate(WALKS):
        files: list[str] = []
        for station in range(len(walk.stations)):
            files += found[number, station][::-1] if walk.backwards else found[number, station]
        if walk.name:
            walks.append((walk.name, walk.most, files))
        else:
            walks[-1][2].extend(files)
    is_fine = True
    for name, most, files in walks:
        walked = [file for file, _ in groupby(files)]
        rooms = list(dict.fromkeys(walked))
        back = [file for index, file in enumerate(walked) if file in walked[:index] and not file.endswith("/step.py")]
        is_fine &= len(rooms) <= most
        print(f"{name}: {len(rooms)} files (at most {most})")
        print("  " + " -> ".join(rooms))
        if back:
            print(f"  back to: {', '.join(dict.fromkeys(back))}")
    return 0 if is_fine else 1


if __name__ == "__main__":
    from rover.activities.registry import ACTIVITIES

    sys.exit(main())
