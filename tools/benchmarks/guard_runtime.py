"""The process that plays the runtime for `guard_table`: enables motion, then commands the wheels until it is hit.

``python tools/benchmarks/guard_runtime.py GUARD_FOLDER RECORD``; ``.`` for no record.
"""

import collections
import itertools
import os
import signal
import sys
import time
from pathlib import Path
from typing import Any

from rover.devices.readings import DriveCommand
from rover.events import Note
from rover.guard.client import GuardClient
from rover.stopping import Phase

STEP_S = 0.02
COMMAND_LASTS_NS = 250_000_000
_HEADER = {"name": "guard table"}


def play_runtime(folder: Path, record_path: Path) -> None:
    """Enable motion once, then command the wheels at 50 Hz until something happens to this process."""
    signal.signal(signal.SIGUSR1, loop_for_ever)
    judge = os.getppid()
    client = GuardClient(folder)
    record = begin_record(record_path) if record_path.name else None
    get_going(client)
    for sequence in itertools.count(1):
        now_ns = time.monotonic_ns()
        client.command(DriveCommand(0.5, 0.4, sequence, now_ns + COMMAND_LASTS_NS))
        client.poll()
        if record is not None:
            record.entry(now_ns, Note("step", str(sequence)))
            if record.trouble:
                client.stop(record.trouble)
                return
        if os.getppid() != judge:
            return
        time.sleep(STEP_S)


def loop_for_ever(*_: object) -> None:
    """Run a loop in C that never ends and never lets another thread of Python run."""
    collections.deque(itertools.repeat(0), maxlen=0)


def begin_record(path: Path) -> Any:
    """Return a real run record; loaded here, since only one of the faults needs it."""
    from rover.record.writer import RunRecord

    return RunRecord.create(path, _HEADER)


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
    play_runtime(Path(sys.argv[1]), Path(sys.argv[2]))
