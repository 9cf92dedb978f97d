"""Makes records of every host, with much that goes wrong, and replays them: is each decided again as it was?

    python tools/replays.py                          # 60 on the bench, 20 wired, 20 on a robot that is emulated
    python tools/replays.py --bench 0 --wired 0 --robot 3 --first 7

What happens is drawn from a seed of its own for each. On the bench: faults of every kind that there is, settings, a
safeguard left out, frames drawn for the vision, readings kept or not. On the robot: keys at the terminal (stop, reset,
go on, hold), `rover stop` from elsewhere, a runtime that stands still for a while, a signal or a kill at the end. What
replays is removed unless ``--keep``. Exit code 1 where a replay finds a difference or a record cannot be replayed.
"""

import argparse
import contextlib
import io
import json
import os
import pty
import random
import select
import shutil
import signal
import subprocess
import sys
import time
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

import click

from rover.commands.main import commands
from rover.errors import UserError
from rover.files.fault_table import FAULTS
from rover.guard.launch import is_at_work, retire
from rover.session.without import SAFEGUARDS

ROOT = Path(__file__).resolve().parents[1]
ROVER = [sys.executable, "-m", "rover"]
SETTINGS = {
    "rectangle": ("long_side=40 cm", "long_side=80 cm", "short_side=30 cm"),
    "roam": ("longest=15 s", "longest=30 s"),
    "patrol": ("longest=30 s", "longest=1 min"),
    "greenhouse": ("longest=30 s", "longest=60 s"),
}
ENDING_WITHOUT = [name for name in SAFEGUARDS if name not in ("", "tries")]
KEYS = ("s", "r", "g", "h", "g", " ", "rg", "srg", "hg")
LOCAL = 90.0
"""Seconds that a run on the robot is given."""


def fault(draw):
    """Return a line of `--fault`, of any kind that there is."""
    row = draw.choice(FAULTS)
    what = f"{draw.choice(row.of)} {row.words}" + (f" {row.takes.example}" if row.takes else "")
    is_for_good = row.is_at_once or (not row.needs_end and draw.random() < 0.2)
    lasts = "" if is_for_good else f" for {draw.uniform(0.2, 6.0):.1f} s"
    return f"at {draw.uniform(0.5, 30.0):.1f} s: {what}{lasts}"


def rehearsed(draw, how):
    """Rehearse; return what was rehearsed, and the record."""
    name = draw.choice(["rectangle"] * 3 + ["roam", "roam", "patrol", "greenhouse"])
    words = ["--set", draw.choice(SETTINGS[name]), "--seed", str(draw.randrange(1000))]
    for _ in range(draw.randrange(4)):
        words += ["--fault", fault(draw)]
    if how == "bench" and draw.random() < 0.3:
        words += ["--without", draw.choice(ENDING_WITHOUT)]
    if how == "bench" and draw.random() < 0.15:
        words += ["--rendered"]
    words += ["--wired"] if how == "wired" else ["--readings"] * draw.randrange(2)
    ended = rover("rehearse", ROOT / f"config/{name}.yaml", "--json", *words)
    if ended.returncode == 2 and "--fault" in words:  # one that this errand or robot does not know
        return rehearsed(draw, how)
    return " ".join([name, *words]), Path(json.loads(ended.stdout)["record"])


class Ended(NamedTuple):
    """How a command ended, and what it wrote."""

    returncode: int
    stdout: str
    stderr: str


def rover(*words):
    """Carry a command out in this process: starting one takes longer than most of these rehearsals."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            code = commands.main([str(word) for word in words], prog_name="rover", standalone_mode=False) or 0
        except (UserError, click.ClickException) as error:
            code = 2
            err.write(str(error))
    return Ended(code, out.getvalue(), err.getvalue())


@contextmanager
def emulated():
    """Emulate a co-processor; yields its port."""
    command = [*ROVER, "emulate", ROOT / "config/emulated.yaml"]
    emulator = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
    try:
        yield emulator.stdout.readline().split(": ")[1].strip()
    finally:
        emulator.terminate()
        emulator.wait()


def run(draw, folder):
    """Carry an errand out on an emulated robot, somebody at its terminal; return what was done, and the record."""
    guard = folder / f"g{draw.randrange(10**6)}"
    before = set(Path("runs").glob("*.sqlite"))
    with emulated() as port:
        words = ["run", ROOT / "config/stand.yaml", "--port", f"main={port}", "--guard", guard, "--enable-motion"]
        words += ["--set", f"long_side={draw.randrange(20, 60)} cm", "--seed", draw.randrange(1000)]
        child, terminal = pty.fork()
        if child == 0:
            os.execv(ROVER[0], [*ROVER, *map(str, words)])
        done, ended = [], time.monotonic() + LOCAL
        try:
            while set(Path("runs").glob("*.sqlite")) == before and time.monotonic() < ended:
                wait(terminal, 0.5)
            wait(terminal, draw.uniform(3.0, 8.0))
            for _ in range(draw.randrange(6)):
                done.append(happens(draw, child, terminal, guard))
                wait(terminal, draw.uniform(0.3, 3.0))
            end = draw.choice([None, None, signal.SIGINT, signal.SIGTERM, signal.SIGKILL])
            if end is not None:
                os.kill(child, end)
                done.append(end.name)
            else:
                os.write(terminal, b"rg")
            while wait(terminal, 1.0) and time.monotonic() < ended:
                pass
        finally:
            try:
                os.kill(child, signal.SIGINT if time.monotonic() > ended else 0)
                wait(terminal, 5.0)
                os.kill(child, signal.SIGKILL)
            except ProcessLookupError:
                pass
            os.waitpid(child, 0)
            os.close(terminal)
            if is_at_work(guard):  # as after a stop or a kill
                retire(guard)
    (record,) = set(Path("runs").glob("*.sqlite")) - before
    return " ".join(["stand", *map(str, words[6:]), *done]), record


def happens(draw, child, terminal, guard):
    what = draw.choice(["keys"] * 6 + ["halted", "stopped from elsewhere"])
    if what == "halted":
        seconds = draw.uniform(0.05, 1.2)
        os.kill(child, signal.SIGSTOP)
        time.sleep(seconds)
        os.kill(child, signal.SIGCONT)
        return f"halted {seconds:.2f} s"
    if what == "keys":
        keys = draw.choice(KEYS)
        for key in keys:
            os.write(terminal, key.encode())
            wait(terminal, 0.4)
        return f"'{keys}'"
    rover("stop", "--guard", guard)
    return what


def wait(terminal, seconds):
    """Wait, and swallow what is said; False once the program has ended."""
    end = time.monotonic() + seconds
    while (left := end - time.monotonic()) > 0.0:
        if select.select([terminal], [], [], left)[0]:
            try:
                if not os.read(terminal, 65536):
                    return False
            except OSError:
                return False
    return True


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    for host, count in (("bench", 60), ("wired", 20), ("robot", 20)):
        parser.add_argument(f"--{host}", type=int, default=count, help=f"records of this host (default {count})")
    parser.add_argument("--first", type=int, default=1, help="seed of the first of each host")
    parser.add_argument("--into", type=Path, default=Path("runs/replays"))
    parser.add_argument("--keep", action="store_true", help="also records that replay")
    given = parser.parse_args()
    into = given.into.resolve()
    into.mkdir(parents=True, exist_ok=True)
    os.chdir(into)
    Path("runs").mkdir(exist_ok=True)
    same = total = 0
    for host in ("bench", "wired", "robot"):
        for seed in range(given.first, given.first + getattr(given, host)):
            draw = random.Random(f"{host} {seed}")
            what, record = run(draw, into) if host == "robot" else rehearsed(draw, host)
            ended = rover("replay", record)
            said = (ended.stdout + ended.stderr).strip().splitlines()
            is_same = ended.returncode == 0 and said[-1].startswith("no difference")
            same, total = same + is_same, total + 1
            counted = said[0] if said else "nothing was said"
            print(f"{'same' if is_same else 'DIFFERENT'}  {host} {seed}: {what}\n      {counted}", flush=True)
            if not is_same:
                print("\n".join(f"      {line}" for line in said[1:]), f"\n      {into / record}", flush=True)
            elif not given.keep:
                record.unlink()
                shutil.rmtree(record.with_suffix(".frames"), ignore_errors=True)
    print(f"{same} of {total} records replay without a difference")
    return 0 if same == total else 1


if __name__ == "__main__":
    sys.exit(main())
