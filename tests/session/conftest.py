"""`rover run` as a person starts it: a process of its own, a real guard, a pseudo-terminal, an emulated co-processor.

Behind the co-processor stands the bench, as fast as the real time; its own deadline is off, so that what brings the
wheels to zero is what is tested.
"""

import contextlib
import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import yaml

from rover.bench.bench import Bench
from rover.bench.wired_hardware import BenchHardware
from rover.files import yaml_source
from rover.files.bench import BenchFile
from rover.guard.client import GuardError, state_of
from rover.guard.launch import is_at_work, retire
from rover.link.emulator import Emulator, Firmware
from rover.record.reader import read
from rover.record.run import RecordedRun
from rover.session.assembly import assemble
from rover.session.clocks import PacedClock

ROOT = Path(__file__).parents[2]
COMMAND = [sys.executable, "-c", "from rover.commands.main import main; main()"]
PATIENCE_S = 60.0
STRAIGHT = """
behaviour: Drive straight on
start: on
states:
  on:
    does: run_straight
    with: {length: LENGTH, speed: 20 cm/s}
    exits:
      - {when: done, go: there}
      - {when: failed, go: stuck}
      - {after: 5 min, go: stuck}
  there: {final: done}
  stuck: {final: failed}
"""
FIELD = {
    "boundary": [["0 m", "0 m"], ["9 m", "0 m"], ["9 m", "9 m"], ["0 m", "9 m"]],
    "start": {"x": "1 m", "y": "4 m", "heading": "0 deg"},
}


class Stand:
    """A project folder, an emulated co-processor with the bench behind it, and runs of the command."""

    def __init__(self, folder: Path, closing: contextlib.ExitStack) -> None:
        self.folder, self.guard, self.port = folder, folder / "g", folder / "line"
        self._closing = closing
        for name in ("config", "behaviours", "own"):
            (folder / name).mkdir()
        shutil.copy(ROOT / "behaviours/rectangle.yaml", folder / "behaviours")
        cart = yaml_source.read(ROOT / "config/cart.yaml", "cart.yaml").values
        self.robot = cart | {"links": {"main": {"port": str(self.port)}}}
        self.robot["devices"] = {name: cart["devices"][name] for name in ("drive", "counts", "heading", "battery")}
        self.clock = PacedClock(1.0)
        self.errand = folder / "config/errand.yaml"
        self.field = FIELD

    def write(self, behaviour: str = "rectangle.yaml", **keys: Any) -> None:
        """Write robot and errand file; ``keys`` are the errand's own."""
        (self.folder / "config/robot.yaml").write_text(yaml.safe_dump(self.robot, sort_keys=False))
        files = {"robot": "robot.yaml", "behaviour": f"../behaviours/{behaviour}"}
        self.errand.write_text(
            yaml.safe_dump({"errand": "On the stand", "files": files, "field": FIELD} | keys, sort_keys=False)
        )

    def straight_on(self, length: str = "7 m") -> None:
        (self.folder / "behaviours/straight.yaml").write_text(STRAIGHT.replace("LENGTH", length))
        self.write("straight.yaml")

    def own_module(self, name: str, source: str) -> str:
        """Write a module of the person's own; return the folder to be named with ``--drivers``."""
        (self.folder / f"own/{name}.py").write_text(source)
        return str(self.folder / "own")

    def emulate(self, deadline_ms: int | None = None) -> Emulator:
        """Put the co-processor on its line."""
        made = assemble(self.errand, {})
        self.bench = Bench(BenchFile(bench="On the stand"), made.robot, made.errand, 1)
        firmware = Firmware(deadline_ms=deadline_ms)
        self.emulator = Emulator(BenchHardware(self.bench), self.port, self.clock.now_ns, firmware)
        self._closing.callback(self.emulator.close)
        return self.emulator

    def start(self, *more: str, stdin: Any = subprocess.DEVNULL, **environment: str) -> "subprocess.Popen[str]":
        with (self.folder / "said").open("w") as said:
            process = subprocess.Popen(
                [*COMMAND, "run", str(self.errand), "--guard", str(self.guard), "--json", *more],
                cwd=self.folder,
                stdin=stdin,
                stdout=subprocess.PIPE,
                stderr=said,
                text=True,
                env=os.environ | environment,
            )
        self._closing.callback(self._end, process)
        return process

    def _end(self, process: "subprocess.Popen[str]") -> None:
        process.kill()
        process.communicate()
        if is_at_work(self.guard):
            retire(self.guard)

    def run(self, *more: str) -> "tuple[int, dict[str, Any], str]":
        """Run to the end; return exit code, result and what was said."""
        process = self.start(*more)
        out, _ = process.communicate(timeout=PATIENCE_S)
        return process.returncode, json.loads(out or "{}"), self.said

    def end(self, process: "subprocess.Popen[str]", number: signal.Signals) -> "tuple[int, dict[str, Any]]":
        process.send_signal(number)
        out, _ = process.communicate(timeout=PATIENCE_S)
        return process.returncode, json.loads(out)

    def refused(self, *more: str) -> str:
        """Run, and return the one line with which it was refused; nothing is left energised."""
        code, _, said = self.run("--enable-motion", *more)
        assert code == 2, said
        assert not is_at_work(self.guard)
        assert "Traceback" not in said
        return said.splitlines()[-1]

    @property
    def said(self) -> str:
        return (self.folder / "said").read_text()

    @property
    def duty(self) -> "tuple[float, float]":
        return self.emulator.applied[-1][1:]

    @property
    def is_moving(self) -> bool:
        return self.duty != (0.0, 0.0)

    def record(self) -> RecordedRun:
        return read(next((self.folder / "runs").glob("*.sqlite")))

    @staticmethod
    def wait_for(condition: Callable[[], Any], what: str | Callable[[], str]) -> Any:
        """Wait for real processes; only a generous limit ends the wait. ``what`` may be told only then."""
        end_s = time.monotonic() + PATIENCE_S
        while time.monotonic() < end_s:
            if answer := condition():
                return answer
            time.sleep(0.005)
        raise AssertionError(f"never: {what if isinstance(what, str) else what()}")

    def wait_until_moving(self) -> None:
        self.wait_for(lambda: self.is_moving, self._why_still)

    def _why_still(self) -> str:
        """Return what there is to say of wheels that never turn."""
        try:
            state: object = state_of(self.guard)
        except GuardError as error:
            state = error
        records = [str(read(one).happenings) for one in sorted((self.folder / "runs").glob("*.sqlite"))[-1:]]
        return f"wheels turning; said: {self.said}; the guard: {state}; the record: {records}"


@pytest.fixture
def stand() -> Iterator[Stand]:
    """The folder's name is short: the path of a socket has room for 107 characters."""
    with tempfile.TemporaryDirectory(prefix="r-") as name, contextlib.ExitStack() as closing:
        yield Stand(Path(name), closing)
