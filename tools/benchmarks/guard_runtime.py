"""Plays the runtime for `kill_table`, as small as can be: starts the guard, enables motion, then commands the wheels.

``python tools/benchmarks/guard_runtime.py FOLDER``, where the robot file is. It keeps a record; its trouble is a stop.
"""

import itertools
import sys
import time
from pathlib import Path

from rover.devices.readings import DriveCommand
from rover.events import Note
from rover.files.load import load
from rover.guard.client import GuardClient
from rover.guard.launch import settings_of, start_guard
from rover.record.writer import RunRecord
from rover.stopping import Phase

STEP_S = 0.02
COMMAND_LASTS_NS = 250_000_000
CLOSED_US = 1100
_HEADER = {"name": "kill table"}


def play_runtime(folder: Path) -> None:
    """Enable motion once, then command the wheels at 50 Hz until something happens to this process."""
    start_guard(settings_of(load(folder / "robot.yaml", "robot").model), folder / "guard")
    client = GuardClient(folder / "guard")
    record = RunRecord.create(folder / "record.sqlite", _HEADER)
    get_going(client)
    for sequence in itertools.count(1):
        now_ns = time.monotonic_ns()
        client.command(DriveCommand(0.5, 0.4, sequence, now_ns + COMMAND_LASTS_NS), CLOSED_US)
        client.poll()
        record.entry(now_ns, Note("step", str(sequence)))
        if record.trouble:
            client.stop(record.trouble)
            return
        time.sleep(STEP_S)


def get_going(client: GuardClient) -> None:
    """Reset, enable and resume until the guard permits motion to this client."""
    while (
        client.state is None or client.state.phase is not Phase.RUNNING or client.state.permit_holder != client.session
    ):
        client.reset()
        client.enable()
        client.resume()
        time.sleep(0.05)
        client.poll()


if __name__ == "__main__":
    play_runtime(Path(sys.argv[1]))
