"""Trials of the service where it is installed, on a real systemd, by root: what is killed, and when the wheels stand.

``python3 trials.py CHECKOUT [--moments N] [--only WORDS] [--paths ...]``; ``in_container.sh`` starts it. It puts
the robot of ``tools/benchmarks/kill_robot`` under ``/etc/rover/config``, and in front of it the judges of
``tools/benchmarks``, which import nothing of the project. Motion is enabled by a drop-in, and only until the wheels
turn: what systemd starts afterwards has to stand still.
"""

import argparse
import contextlib
import itertools
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import NamedTuple

TRIAL = Path("/srv/trial")
ROBOT = TRIAL / "robot"
CONFIG = Path("/etc/rover/config")
GUARD = Path("/run/rover/guard")
MOTION = Path("/run/rover-trial.env")
DROP_IN = Path("/run/systemd/system/rover.service.d/trial.conf")
DROP_IN_TEXT = f"""\
[Service]
EnvironmentFile=-{MOTION}
ExecStart=
ExecStart=/opt/rover/bin/rover run {CONFIG}/errand.yaml --drivers {ROBOT} $MOTION
ReadWritePaths={TRIAL}
"""
ALLOWED_MS = 300
MOVING_WITHIN_S, WATCHED_S = 120.0, 9.0
PROCESSES = ("runtime", "guard", "supervisor")


class Change(NamedTuple):
    """What wheels (per mille) and jaws (us) are told from a monotonic time on."""

    now_ns: int
    left: int
    right: int
    pulse_us: int


class Case(NamedTuple):
    """What is done to the service, by what ``prepare`` returns, and how the unit has to stand a while later."""

    name: str
    prepare: Callable[[], Callable[[], object]]
    ends: tuple[str, ...]


def run(*command: str) -> str:
    return subprocess.run(command, capture_output=True, text=True).stdout.strip()


def unit(key: str) -> str:
    return run("systemctl", "show", "--value", f"--property={key}", "rover")


def pid_of(process: str) -> int:
    if process == "runtime":
        return int(unit("MainPID"))
    supervisor, guard = (int(word) for word in (GUARD / "guard.lock").read_text().split())
    return guard if process == "guard" else supervisor


def signalled(*processes: str, by: signal.Signals = signal.SIGKILL) -> Callable[[], Callable[[], object]]:
    def prepare() -> Callable[[], object]:
        pids = [pid_of(process) for process in processes]
        return lambda: [os.kill(pid, by) for pid in pids]

    return prepare


def systemctl(*words: str) -> Callable[[], Callable[[], object]]:
    return lambda: lambda: subprocess.run(["systemctl", "--no-block", *words, "rover"], check=True)


def crashes_in_a_row(first: int) -> None:
    """Kill the runtime five times, each time as soon as it is there again."""
    os.kill(first, signal.SIGKILL)
    for _ in range(4):
        time.sleep(0.5)
        wait_until(lambda: unit("MainPID") != "0" or unit("ActiveState") == "failed", 60.0)
        if unit("MainPID") != "0":
            os.kill(int(unit("MainPID")), signal.SIGKILL)


KILLED_IN_TURN = itertools.chain.from_iterable(itertools.combinations(PROCESSES, size) for size in (1, 2, 3))
CASES = (
    *(Case(f"kill -9 {' and '.join(which)}", signalled(*which), ("active", "activating")) for which in KILLED_IN_TURN),
    Case("runtime halted", signalled("runtime", by=signal.SIGSTOP), ("active", "activating", "deactivating")),
    Case("systemctl stop", systemctl("stop"), ("inactive",)),
    Case("systemctl restart", systemctl("restart"), ("active", "activating")),
    Case("five crashes in a row", lambda: partial(crashes_in_a_row, pid_of("runtime")), ("failed",)),
)


def wait_until(condition: Callable[[], bool], seconds: float) -> bool:
    """Wait until a condition holds; tell whether it does after a time (s) at the latest."""
    end = time.monotonic() + seconds
    while not (holds := condition()) and time.monotonic() < end:
        time.sleep(0.02)
    return holds


class Judge:
    """A judge at work, and its book."""

    def __init__(self, program: Path, folder: Path) -> None:
        folder.mkdir(exist_ok=True)
        self._book = folder / "applied"
        self._process = subprocess.Popen(
            [sys.executable, "-S", "-E", program, folder], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        assert self._process.stdout is not None
        self._process.stdout.readline()

    def history(self) -> list[Change]:
        lines = self._book.read_text("ascii").splitlines()
        return [Change(*map(int, line.split())) for line in lines if line.count(" ") == 3]

    def is_moving(self) -> bool:
        last = self.history()[-1]
        return bool(last.left or last.right)

    def close(self) -> None:
        with self._process:
            self._process.kill()


def set_up(checkout: Path, path: str) -> Judge:
    """Put robot and judge in place; ``path`` is ``serial`` or ``pins``."""
    run("systemctl", "stop", "rover")
    benchmarks = checkout / "tools" / "benchmarks"
    shutil.rmtree(TRIAL, ignore_errors=True)
    TRIAL.mkdir()
    shutil.copytree(benchmarks / "kill_robot", ROBOT)
    program, judged = ("peer.py", ROBOT) if path == "serial" else ("peer_pins.py", ROBOT / "pins")
    judge = Judge(benchmarks / program, judged)
    text = (ROBOT / f"{path}.yaml").read_text().replace("FOLDER", str(ROBOT)).replace("ON_STOP", "limp")
    (CONFIG / "robot.yaml").write_text(text)
    for name in ("errand.yaml", "behaviour.yaml"):
        shutil.copy(ROBOT / name, CONFIG / name)
    if (line := ROBOT / "main").is_symlink():
        shutil.chown(line, "rover", "dialout")
    run("chown", "-R", "rover:rover", str(TRIAL))
    DROP_IN.parent.mkdir(parents=True, exist_ok=True)
    DROP_IN.write_text(DROP_IN_TEXT)
    run("systemctl", "daemon-reload")
    return judge


def get_going(judge: Judge) -> None:
    run("systemctl", "stop", "rover")
    for pid in [pid_of(process) for process in PROCESSES[1:] if is_alive(process)]:
        for number in (signal.SIGTERM, signal.SIGCONT):  # a guard with a stop latched would wait for a minute
            with contextlib.suppress(ProcessLookupError):
                os.kill(pid, number)
    wait_until(lambda: not any(map(is_alive, PROCESSES[1:])), 10.0)
    run("systemctl", "reset-failed", "rover")
    (GUARD / "guard.log").unlink(missing_ok=True)
    MOTION.write_text("MOTION=--enable-motion\n")
    run("systemctl", "start", "rover")
    wait_until(judge.is_moving, MOVING_WITHIN_S)
    MOTION.unlink()
    if not judge.is_moving():
        raise SystemExit(f"the robot never moved:\n{run('journalctl', '-u', 'rover', '-n', '30', '--no-pager')}")


def give_priority() -> None:
    """Give guard and supervisor the priority that the unit grants them, where a container's own limits keep it back."""
    for process in PROCESSES[1:]:
        if is_alive(process) and os.sched_getscheduler(pid_of(process)) & ~os.SCHED_RESET_ON_FORK != os.SCHED_RR:
            os.sched_setscheduler(pid_of(process), os.SCHED_RR | os.SCHED_RESET_ON_FORK, os.sched_param(1))


def is_alive(process: str) -> bool:
    try:
        os.kill(pid_of(process), 0)
    except (OSError, ValueError):
        return False
    return True


class Outcome(NamedTuple):
    """When the wheels stood after the fault (ms), whether they turned again, and how the unit stood at last."""

    stood_ms: float
    moved_again: bool
    state: str


def tried(case: Case, judge: Judge) -> Outcome:
    get_going(judge)
    give_priority()
    act = case.prepare()
    time.sleep(random.random())
    from_ns = time.monotonic_ns()
    act()
    time.sleep(WATCHED_S)
    after = [change for change in judge.history() if change.now_ns >= from_ns]
    stood = [change for change in after if not (change.left or change.right)]
    moved = bool(stood) and any(change.left or change.right for change in after if change.now_ns > stood[0].now_ns)
    return Outcome((stood[0].now_ns - from_ns) / 1e6 if stood else float("inf"), moved, unit("ActiveState"))


def stands_still_after_boot(judge: Judge) -> bool:
    """Tell whether the unit as it was shipped, started as at a boot, is active and moves nothing."""
    DROP_IN.write_text(DROP_IN_TEXT.replace(" $MOTION", ""))
    (GUARD / "guard.log").unlink(missing_ok=True)
    run("systemctl", "daemon-reload")
    run("systemctl", "start", "rover")
    wait_until(lambda: unit("ActiveState") == "active", 60.0)
    time.sleep(12.0)
    is_still = unit("ActiveState") == "active" and not any(each.left or each.right for each in judge.history())
    log = (GUARD / "guard.log").read_text()
    DROP_IN.write_text(DROP_IN_TEXT)
    run("systemctl", "daemon-reload")
    return is_still and not log


def main() -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("checkout", type=Path)
    parser.add_argument("--moments", type=int, default=5)
    parser.add_argument("--only", default="")
    parser.add_argument("--paths", nargs="*", default=["pins", "serial"])
    given = parser.parse_args()
    failed = 0
    print(
        f"{'path':<8}{'fault':<42}{'moments':>8}{'median ms':>11}{'most ms':>9}{'late':>6}{'again':>7}  unit",
        flush=True,
    )
    for path in given.paths:
        judge = set_up(given.checkout, path)
        if not given.only:
            is_still = stands_still_after_boot(judge)
            failed += not is_still
            print(f"{path:<8}{'started: active, still, log empty':<42}{'yes' if is_still else 'NO':>8}", flush=True)
        for case in CASES:
            if given.only in case.name:
                failed += not shown(path, case, [tried(case, judge) for _ in range(given.moments)])
        run("systemctl", "stop", "rover")
        judge.close()
    DROP_IN.unlink()
    run("systemctl", "daemon-reload")
    return 1 if failed else 0


def shown(path: str, case: Case, outcomes: list[Outcome]) -> bool:
    """Print a row; tell whether nothing in it was late, moved again or ended otherwise."""
    took = sorted(outcome.stood_ms for outcome in outcomes)
    late, again = sum(ms > ALLOWED_MS for ms in took), sum(outcome.moved_again for outcome in outcomes)
    states = sorted({outcome.state for outcome in outcomes})
    row = f"{path:<8}{case.name:<42}{len(took):>8}{took[len(took) // 2]:>11.0f}{took[-1]:>9.0f}{late:>6}{again:>7}"
    print(f"{row}  {', '.join(states)}", flush=True)
    return not (late or again or set(states) - set(case.ends))


if __name__ == "__main__":
    raise SystemExit(main())
