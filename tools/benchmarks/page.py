"""What the operator page costs a run, and how soon a click on its stop is at the motors.

``python tools/benchmarks/page.py [--seconds 20] [--rounds 3] [--clicks 200]``. A real run on an emulated co-processor,
which is a process of its own; by turns with nobody watching, with one viewer, and with ten and one more that takes
nothing. Of each turn: the loop's intervals, by the record, and the processor time of runtime and page. Then, in a real
browser on this machine, clicks on Stop, each measured from before the click to the guard's own time of the stop.
"""

import argparse
import asyncio
import os
import re
import shutil
import signal
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.request
from contextlib import AsyncExitStack, closing
from itertools import pairwise
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[2]
ROVER = [sys.executable, "-m", "rover"]
ERRAND = """
errand: Straight on
files: {robot: robot.yaml, behaviour: on.yaml}
field:
  boundary: [[0 m, 0 m], [900 m, 0 m], [900 m, 9 m], [0 m, 9 m]]
  start: {x: 1 m, y: 4 m, heading: 0 deg}
"""
BEHAVIOUR = """
behaviour: Straight on
start: ahead
states:
  ahead:
    does: run_straight
    with: {length: 800 m, speed: 5 cm/s}
    exits:
      - {when: done, go: there}
      - {when: failed, go: stuck}
      - {after: 2 h, go: stuck}
  there: {final: done}
  stuck: {final: failed}
"""
ROBOT = """
robot: On a stand
body: {wheel_diameter: 72 mm, track: 24 cm, counts_per_rev: 1320, gripper_reach: 16 cm}
links: {main: {port: PORT}}
devices:
  drive: {driver: co_processor, link: main}
  counts: {driver: co_processor, link: main}
  heading: {driver: co_processor, link: main}
  battery: {driver: co_processor, link: main}
"""
VIEWERS = {"nobody": 0, "one": 1, "ten and a stalled one": 10}


class Run:
    """A run with its page."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.guard = folder, folder / "g"
        (folder / "robot.yaml").write_text(ROBOT.replace("PORT", "/dev/null"))
        self._emulator = subprocess.Popen(
            [*ROVER, "emulate", "robot.yaml"], cwd=folder, stdout=subprocess.PIPE, text=True, env=_environment(folder)
        )
        assert self._emulator.stdout is not None
        port = self._emulator.stdout.readline().split()[-1]
        (folder / "robot.yaml").write_text(ROBOT.replace("PORT", port))
        (folder / "errand.yaml").write_text(ERRAND)
        (folder / "on.yaml").write_text(BEHAVIOUR)
        said = (folder / "said").open("w")
        self.process = subprocess.Popen(
            [*ROVER, "run", "errand.yaml", "--guard", str(self.guard), "--page=127.0.0.1:0", "--enable-motion"],
            cwd=folder,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=said,
            env=_environment(folder),
        )
        pattern = re.compile(r"page: (\S+)   \(its token: (.+)\)\n")
        while not (told := pattern.search((folder / "said").read_text())):
            time.sleep(0.1)
        self.url, self.token = told[1], Path(told[2]).read_text("ascii").strip()
        (self.page,) = [
            int(path.parent.name)
            for path in Path("/proc").glob("[0-9]*/cmdline")
            if b"rover.page" in _words(path) and bytes(self.guard) in _words(path)
        ]

    def act(self, act: str) -> None:
        headers = {"Authorization": f"Bearer {self.token}"}
        urllib.request.urlopen(urllib.request.Request(f"{self.url}act/{act}", b"", headers)).close()

    def intervals(self, from_ns: int, to_ns: int) -> list[float]:
        """Return the times between steps (ms), by the record."""
        (record,) = (self.folder / "runs").glob("*.sqlite")
        with closing(sqlite3.connect(record)) as base:
            rows = base.execute(
                "SELECT DISTINCT at_ns FROM readings WHERE at_ns BETWEEN ? AND ? ORDER BY at_ns", (from_ns, to_ns)
            )
            times = [at_ns for (at_ns,) in rows]
        return [(after - before) / 1e6 for before, after in pairwise(times)]

    def close(self) -> None:
        for process in (self.process, self._emulator):
            process.send_signal(signal.SIGINT)
            process.wait()


def _environment(folder: Path) -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": str(ROOT), "XDG_STATE_HOME": str(folder)}


def _words(path: Path) -> list[bytes]:
    try:
        return path.read_bytes().split(b"\0")
    except OSError:
        return []


def _used_s(process: int) -> float:
    """Return the processor time (s) of a process with all its threads."""
    fields = Path(f"/proc/{process}/stat").read_text("ascii").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


async def _watched(run: Run, viewers: int, seconds: float) -> dict[str, Any]:
    """Have so many watch for a time, with more than one also one that takes nothing; return what that came to."""
    import aiohttp

    async def read(live: Any) -> None:
        async for _ in live:
            pass

    async with AsyncExitStack() as stack:
        session = await stack.enter_async_context(aiohttp.ClientSession())
        for _ in range(viewers + (viewers > 1)):
            live = await stack.enter_async_context(session.ws_connect(f"{run.url}live", autoping=True))
            await live.send_json({"token": run.token})
            if len(asyncio.all_tasks()) <= viewers:
                reading = asyncio.create_task(read(live))
                stack.callback(reading.cancel)
        await asyncio.sleep(2.0)
        before = [_used_s(run.process.pid), _used_s(run.page)]
        from_ns = time.monotonic_ns()
        await asyncio.sleep(seconds)
        to_ns = time.monotonic_ns()
        after = [_used_s(run.process.pid), _used_s(run.page)]
    await asyncio.sleep(1.5)  # the record is written by then
    used = [100.0 * (late - early) / seconds for late, early in zip(after, before, strict=True)]
    return {"intervals": run.intervals(from_ns, to_ns), "runtime": used[0], "page": used[1]}


def loop_timing(run: Run, seconds: float, rounds: int) -> None:
    """Print the table of turns."""
    turns: dict[str, list[dict[str, Any]]] = {name: [] for name in VIEWERS}
    for _ in range(rounds):
        for name, viewers in VIEWERS.items():
            turns[name].append(asyncio.run(_watched(run, viewers, seconds)))
    print(f"{'watching':<24} {'p50 p99 max / ms':>27} {'late':>7} {'runtime / %':>12} {'page / %':>9}  page/runtime")
    for name, seen in turns.items():
        times = sorted(interval for one in seen for interval in one["intervals"])
        centiles = [statistics.median(times), times[int(0.99 * len(times))], times[-1]]
        late = sum(interval > 30.0 for interval in times) / len(times)
        runtime, page = (statistics.mean(one[part] for one in seen) for part in ("runtime", "page"))
        figures = " ".join(f"{one:8.2f}" for one in centiles)
        print(f"{name:<24} {figures:>27} {late:7.2%} {runtime:12.1f} {page:9.1f}  {page / runtime:.2f}")


def clicks(run: Run, number: int) -> None:
    """Print how soon clicks on Stop were at the guard, which writes zero to the line in that turn."""
    from playwright.sync_api import sync_playwright

    from rover.guard.client import GuardClient
    from rover.stopping import Phase

    client = GuardClient(run.guard)

    def heard(phase: Phase, seconds: float, *, moves: bool = False) -> int:
        """Return the guard's time of its first word of a phase, 0 where it says none."""
        end_s = time.monotonic() + seconds
        while time.monotonic() < end_s:
            client.hello()
            client.wait(0.02)
            for word in client.poll():
                if getattr(word, "phase", None) is phase and (not moves or word.left or word.right):
                    return int(word.now_ns)
        return 0

    def get_going() -> None:
        """Have the wheels turn; whatever else has stopped them meanwhile, on a busy computer, is reset too."""
        is_going = heard(Phase.RUNNING, 0.2, moves=True)
        while not is_going:
            run.act("reset")
            heard(Phase.READY, 0.5)
            run.act("go-on")
            is_going = heard(Phase.RUNNING, 2.0, moves=True)

    took_ms = []
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=["--disable-gpu"])
        tab = browser.new_page()
        tab.goto(f"{run.url}#{run.token}")
        tab.wait_for_selector("#controls button:enabled")
        box = tab.locator("#stop").bounding_box()
        for _ in range(number):
            get_going()
            time.sleep(0.5)  # at most 40 acts in 10 s are taken
            before_ns = time.monotonic_ns()
            tab.mouse.click(box["x"] + 20, box["y"] + 20)
            took_ms.append((heard(Phase.STOPPED, 30.0) - before_ns) / 1e6)
        browser.close()
    client.close()
    took_ms = sorted(ms for ms in took_ms if ms > 0.0)  # the others were stopped before the click
    centiles = {share: took_ms[min(len(took_ms) - 1, int(share * len(took_ms)))] for share in (0.5, 0.9, 0.99)}
    told = ", ".join(f"{share:.0%} within {ms:.0f} ms" for share, ms in centiles.items())
    print(f"{len(took_ms)} clicks on Stop, to the guard's own time of it: {told}, the slowest {took_ms[-1]:.0f} ms")


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--seconds", type=float, default=20.0)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--clicks", type=int, default=200)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="p-") as folder, closing(Run(Path(folder))) as run:
        time.sleep(5.0)
        if asked.rounds:
            loop_timing(run, asked.seconds, asked.rounds)
        if asked.clicks:
            clicks(run, asked.clicks)


if __name__ == "__main__":
    main()
