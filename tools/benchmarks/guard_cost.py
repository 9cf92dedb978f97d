"""What the motor guard costs: shares of a core of guard, supervisor, and the process that commands them at 50 Hz.

``python tools/benchmarks/guard_cost.py [--seconds 20] [--rounds 3] [--against COMMIT]``. A real guard and supervisor on
a pseudo-terminal with the co-processor's emulator, whose time is not counted; the sender commands, takes the answers
and decodes what the line says, as a runtime does, and does nothing else. With ``--against`` the same is measured with
the guard of an older commit, by turns, so that both trees meet the same machine.
"""

import argparse
import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
PARTS = ("guard", "supervisor", "sender")
STEP_NS = 20_000_000
_WARM_UP_S = 2.0


def send(port: str, folder: Path, seconds: float) -> None:
    """Be the sender; print as JSON the share of a core (%) that each part took."""
    from rover.devices.drive.keys import CoProcessorDriveKeys
    from rover.devices.readings import DriveCommand
    from rover.guard.client import GuardClient
    from rover.guard.launch import start_guard
    from rover.guard.port import GuardPort
    from rover.guard.settings import LOCK_NAME, GuardSettings
    from rover.link.link import Link
    from rover.link.sentences import CountsReport

    drive = CoProcessorDriveKeys(link="main").options | {"port": port, "baud": 115200}
    guard = start_guard(GuardSettings(drive), folder)
    client, link = GuardClient(folder), Link(GuardPort(folder), 115200)
    counts = link.mailbox(CountsReport)
    supervisor_pid, guard_pid = map(int, (folder / LOCK_NAME).read_text("ascii").split())
    sequence = accepted = taken = 0

    def drive_for(duration_s: float) -> None:
        nonlocal sequence, accepted, taken
        due_ns = time.monotonic_ns()
        end_ns = due_ns + int(duration_s * 1e9)
        while due_ns < end_ns:
            due_ns += STEP_NS
            time.sleep(max(0, due_ns - time.monotonic_ns()) / 1e9)
            sequence += 1
            client.command(DriveCommand(0.5, 0.4, sequence, time.monotonic_ns() + 250_000_000))
            client.poll()
            accepted += client.answer is not None and not client.answer.verdict
            taken += len(counts.take())

    while client.state is None or not client.state.permit_holder:
        client.enable()
        drive_for(0.1)
    drive_for(_WARM_UP_S)
    accepted = taken = 0
    before, began_s = _used_s(guard_pid, supervisor_pid), time.monotonic()
    drive_for(seconds)
    after, took_s = _used_s(guard_pid, supervisor_pid), time.monotonic() - began_s
    shares = {part: 100 * (late - early) / took_s for part, late, early in zip(PARTS, after, before, strict=True)}
    print(json.dumps(shares | {"accepted": accepted / took_s, "counts": taken / took_s}))
    link.close()
    client.close()
    guard.close()


def _used_s(*processes: int) -> tuple[float, ...]:
    """Return the processor time (s) of processes of one thread each, and of this one with all its threads."""
    others = (int(Path(f"/proc/{process}/schedstat").read_text("ascii").split()[0]) / 1e9 for process in processes)
    return (*others, time.process_time())


def measure(tree: Path, seconds: float) -> dict[str, float]:
    """Return what a round with the code of a tree came to."""
    from rover.link.emulated_hardware import WheelsFree
    from rover.link.emulator import Emulator

    with tempfile.TemporaryDirectory(prefix="cost-") as name:
        line = Path(name) / "main"
        emulator = Emulator(WheelsFree(), line)
        command = [sys.executable, "-P", __file__, "--send", str(line), str(Path(name) / "guard")]
        try:
            ended = subprocess.run(
                [*command, "--seconds", str(seconds)],
                env={**os.environ, "PYTHONPATH": str(tree)},
                capture_output=True,
                text=True,
                check=True,
                timeout=3 * seconds + 30.0,
            )
        finally:
            emulator.close()
    found: dict[str, float] = json.loads(ended.stdout)
    return found


def report(name: str, rounds: list[dict[str, float]]) -> str:
    """Return a row: the median of each share, and what the sender got for it each second."""
    middle = {key: statistics.median(each[key] for each in rounds) for key in rounds[0]}
    shares = "  ".join(f"{middle[part]:>10.2f}" for part in PARTS)
    return f"{name:<12}  {shares}  {middle['accepted']:>12.1f}  {middle['counts']:>8.1f}"


def main() -> None:
    """Print the table: per cent of a core, median of the rounds."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=20.0)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--against", metavar="COMMIT")
    parser.add_argument("--send", nargs=2, help=argparse.SUPPRESS)
    chosen = parser.parse_args()
    if chosen.send:
        send(chosen.send[0], Path(chosen.send[1]), chosen.seconds)
        return
    with tempfile.TemporaryDirectory(prefix="tree-") as other:
        trees = {"this tree": ROOT}
        if chosen.against:
            subprocess.run(["git", "clone", "-q", "--no-checkout", str(ROOT), other], check=True)
            subprocess.run(["git", "-C", other, "checkout", "-q", "--detach", chosen.against], check=True)
            trees = {chosen.against[:12]: Path(other), **trees}
        rounds: dict[str, list[dict[str, float]]] = {name: [] for name in trees}
        for _ in range(chosen.rounds):
            for name, tree in trees.items():
                rounds[name].append(measure(tree, chosen.seconds))
    print(f"{'% of a core':<12}  {'  '.join(f'{part:>10}' for part in PARTS)}  {'commands a s':>12}  {'counts':>8}")
    for name, found in rounds.items():
        print(report(name, found))


if __name__ == "__main__":
    main()
