"""`rover run` as a person starts it: a process of its own, a real guard, a pseudo-terminal, an emulated co-processor.

Behind the co-processor stands the bench, as fast as the real time; its own deadline is off, so that what brings the
wheels to zero is what is tested.
"""

import contextlib
import json
import os
import pty
import shutil
import signal
import socket
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
from rover.bench.devices import BenchHardware
from rover.events import Delivery, StateChange, Stop
from rover.files import yaml_source
from rover.files.bench import BenchFile
from rover.guard.channel import state_of, stop_now
from rover.guard.launch import is_at_work, retire
from rover.guard.protocol import Phase
from rover.link.emulator import Emulator, Firmware
from rover.record.reader import read
from rover.record.run import RecordedRun
from rover.session.assembly import assemble
from rover.session.clocks import PacedClock

ROOT = Path(__file__).parents[2]
COMMAND = [sys.executable, "-c", "from rover.commands.main import main; main()"]
ZERO_WITHIN_NS = 300_000_000
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


def wait_for(condition: Callable[[], Any], what: str) -> Any:
    """Wait for real processes; only a generous limit ends the wait."""
    end_s = time.monotonic() + PATIENCE_S
    while time.monotonic() < end_s:
        if answer := condition():
            return answer
        time.sleep(0.005)
    raise AssertionError(f"never: {what}")


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

    def wait_until_moving(self) -> None:
        wait_for(lambda: self.is_moving, f"wheels turning; said: {self.said}")


@pytest.fixture
def stand() -> Iterator[Stand]:
    """The folder's name is short: the path of a socket has room for 107 characters."""
    with tempfile.TemporaryDirectory(prefix="r-") as name, contextlib.ExitStack() as closing:
        yield Stand(Path(name), closing)


def test_a_rectangle_is_driven_to_its_end(stand):
    stand.write(settings={"long_side": "40 cm", "short_side": "30 cm", "speed": "25 cm/s"})
    stand.emulate()
    code, result, said = stand.run("--enable-motion")
    assert (code, result["result"], result["reason"]) == (0, "done", "back"), said
    assert stand.duty == (0.0, 0.0)
    x, y, _ = stand.bench.pose
    assert (x, y) == pytest.approx((1.0, 4.0), abs=0.15)
    run = stand.record()
    assert run.header["host"] == "robot"
    assert run.outcome.result == "done"
    assert [change.entered for change in run.events_of(StateChange)][-1] == "back"
    assert not is_at_work(stand.guard)


@pytest.mark.parametrize(("number", "code"), [(signal.SIGINT, 130), (signal.SIGTERM, 143)])
def test_a_signal_in_mid_run_brings_the_wheels_to_zero_and_finishes_the_record(stand, number, code):
    stand.straight_on()
    stand.emulate()
    process = stand.start("--enable-motion")
    stand.wait_until_moving()
    sent_ns = stand.clock.now_ns()
    ended, result = stand.end(process, number)
    assert (ended, result["result"], result["reason"]) == (code, "stopped", "ended by a signal")
    assert stand.duty == (0.0, 0.0)
    assert stand.emulator.applied[-1].now_ns - sent_ns <= ZERO_WITHIN_NS
    assert stand.record().outcome.result == "stopped"


def test_killed_outright_the_guard_brings_the_wheels_to_zero_and_the_record_opens(stand):
    stand.straight_on()
    stand.emulate()
    process = stand.start("--enable-motion")
    stand.wait_until_moving()
    time.sleep(1.0)  # a commit comes each half second
    sent_ns = stand.clock.now_ns()
    process.kill()
    wait_for(lambda: not stand.is_moving, "wheels at zero")
    assert stand.emulator.applied[-1].now_ns - sent_ns <= ZERO_WITHIN_NS
    process.wait()
    run = stand.record()
    assert run.outcome is None
    assert run.events_of(StateChange)[0].entered == "on"
    state = json.loads(next((stand.folder / "runs").glob("*.state.json")).read_text())
    assert state["ended"] == ""


def test_without_a_person_it_stands_still_and_says_how_to_enable_motion(stand):
    """As a service manager starts it: no terminal, and a socket to which the loop says that it lives."""
    stand.straight_on()
    stand.emulate()
    told = stand.folder / "told"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(told))
        manager.settimeout(PATIENCE_S)
        process = stand.start(NOTIFY_SOCKET=str(told), WATCHDOG_USEC="400000")
        words = [manager.recv(1000).decode() for _ in range(5)]
        wait_for(lambda: "--enable-motion" in stand.said, "how to enable motion")
        code, result = stand.end(process, signal.SIGTERM)
        while (word := manager.recv(1000).decode()) != "STOPPING=1":
            words.append(word)
    assert words[0].startswith("READY=1\nWATCHDOG=1\nSTATUS=")
    assert all(word.startswith("WATCHDOG=1") for word in words[1:])
    assert (code, result["result"]) == (143, "stopped")
    assert [duty[1:] for duty in stand.emulator.applied] == [(0.0, 0.0)]


def test_at_a_terminal_a_typed_yes_starts_and_keys_stop_reset_and_go_on(stand):
    stand.straight_on()
    stand.emulate()
    person, terminal = pty.openpty()
    try:
        process = stand.start(stdin=terminal)
        wait_for(lambda: "Type yes" in stand.said, f"the question; said: {stand.said}")
        os.write(person, b"no\n")
        os.write(person, b"yes\n")
        stand.wait_until_moving()
        wait_for(lambda: "keys:" in stand.said, "the keys")
        os.write(person, b"s")
        wait_for(lambda: not stand.is_moving, "stopped")
        wait_for(lambda: "stopped at the terminal" in stand.said, "the cause")
        os.write(person, b"g")  # without a reset it means nothing
        os.write(person, b"r")  # which alone moves nothing
        time.sleep(0.5)
        assert not stand.is_moving
        os.write(person, b"g")
        stand.wait_until_moving()
        stop_now(stand.guard, "a jar rolls under the wheels")
        wait_for(lambda: "stopped: a jar rolls" in stand.said, "the cause from another process")
        wait_for(lambda: not stand.is_moving, "stopped")
        code, _ = stand.end(process, signal.SIGINT)
    finally:
        os.close(person)
        os.close(terminal)
    assert code == 130
    assert state_of(stand.guard).cause == "a jar rolls under the wheels", "a stop outlives the run"
    causes = [stop.cause for stop in stand.record().events_of(Stop)]
    assert causes == ["motion has not been enabled", "stopped at the terminal", "a jar rolls under the wheels"]


def test_the_stop_input_is_tried_before_motion_is_enabled(stand):
    script = [["0 s", True], ["1 s", False], ["2 s", True]]
    stop = {"driver": "scripted", "script": script, "overdue_after": "1 h"}
    stand.robot["devices"] |= {"stop_input": stop}
    stand.straight_on("5 cm")
    stand.emulate()
    code, _, said = stand.run("--enable-motion")
    assert code == 0, said
    assert said.index("press the stop") < said.index("opens and closes, ok")


def test_a_stop_that_the_core_latches_is_latched_by_the_guard_too(stand):
    script = [["0 s", True], ["1 s", False], ["2 s", True], ["8 s", False], ["9 s", True]]
    stop = {"driver": "scripted", "script": script, "overdue_after": "1 h"}
    stand.robot["devices"] |= {"stop_input": stop}
    stand.straight_on()
    stand.emulate()
    process = stand.start("--enable-motion")
    stand.wait_until_moving()
    wait_for(lambda: "stopped: the stop input is open" in stand.said, "the stop")
    state = wait_for(lambda: (found := state_of(stand.guard)).phase is Phase.STOPPED and found, "the guard's stop")
    assert state.cause == "the stop input is open"
    assert stand.end(process, signal.SIGINT)[0] == 130


DELIVER = '''
"""An activity that sets something down, as far as the ledger is concerned."""

from rover.errand.ledger import Filled
from rover.events import Delivery
from rover.behaviour.vocabulary import ActivitySpec, Progress
from rover.motion.request import STILL


class SetDown:
    spec = ActivitySpec("set one down")

    def __init__(self, known, values):
        self.progress = Progress.UNDER_WAY

    def step(self, known):
        ledger, slot = known.ledger, known.ledger.slot
        ledger.filled.append(Filled(slot, "amber"))
        ledger.delivered.append("amber")
        known.events.append(Delivery(len(ledger.delivered), "amber", slot.number, slot.x, slot.y))
        self.progress = Progress.DONE
        return STILL
'''
ONE_AFTER_ANOTHER = """
behaviour: Set one down, and wait
start: down
states:
  down: {does: "deliver:SetDown", exits: [{when: done, go: wait}, {when: failed, go: over}, {after: 1 min, go: over}]}
  wait: {does: stand_still, exits: [{after: 5 min, go: over}]}
  over: {final: done}
"""


def test_taken_up_again_it_goes_on_with_the_next_slot(stand):
    (stand.folder / "own/deliver.py").write_text(DELIVER)
    (stand.folder / "behaviours/one.yaml").write_text(ONE_AFTER_ANOTHER)
    zone = {"x": "1 m", "y": "1 m", "width": "1.2 m", "depth": "1.2 m"}
    kinds = {"amber": {"lid": "amber", "height": "60 mm", "width": "50 mm"}}
    stand.write("one.yaml", field=FIELD | {"zone": zone}, kinds=kinds, expect=3)
    stand.emulate()
    slots = []
    for more in ((), ("--resume",), ("--resume",)):
        process = stand.start("--enable-motion", "--drivers", str(stand.folder / "own"), *more)
        due = len(slots) + 1
        state = wait_for(lambda due=due: newest_delivered(stand, due), f"delivered; said: {stand.said}")
        slots.append(state["filled"][-1][0])
        code, result = stand.end(process, signal.SIGINT)
        assert (code, result["delivered"]) == (130, len(slots))
    assert slots == [0, 1, 2]
    records = sorted((stand.folder / "runs").glob("*.sqlite"), key=lambda path: path.stat().st_mtime_ns)
    assert [read(path).events_of(Delivery)[0].number for path in records] == [1, 2, 3]


def newest_delivered(stand: Stand, count: int) -> "dict[str, Any] | None":
    states = [json.loads(path.read_text())["core"]["ledger"] for path in (stand.folder / "runs").glob("*.state.json")]
    return next((state for state in states if len(state["delivered"]) == count), None)


# Refused: one clear line, exit code 2, nothing left energised. Ports and pins: `test_bad_input.py`.


def refused(stand: Stand) -> str:
    """RecordedRun, and return the one line with which it was refused."""
    code, _, said = stand.run("--enable-motion")
    assert code == 2, said
    assert not is_at_work(stand.guard)
    assert "Traceback" not in said
    return said.splitlines()[-1]


CAMERAS = """
import numpy
from rover.devices.readings import Detections, Frame, Reading


class Missing:
    def __init__(self, options, host):
        raise OSError("/dev/video7 is not there; plug the camera in")


class Violet:
    def __init__(self, options, host):
        self.frame = None

    def poll(self, now_ns):
        sequence = self.frame.sequence + 1 if self.frame else 0
        self.frame = Reading(now_ns, sequence, Frame(numpy.full((2, 3, 3), 200, numpy.uint8), 3, 2))
        return [Reading(now_ns, sequence, Detections(()))]

    def close(self):
        pass
"""


def run_with_camera(stand: Stand, name: str) -> "tuple[int, str]":
    (stand.folder / "own/cameras.py").write_text(CAMERAS)
    stand.robot["devices"]["camera"] = {"driver": f"cameras:{name}"}
    stand.straight_on("5 cm")
    stand.emulate()
    code, _, said = stand.run("--enable-motion", "--drivers", str(stand.folder / "own"))
    return code, said


def test_a_camera_that_is_missing(stand):
    code, said = run_with_camera(stand, "Missing")
    assert code == 2
    assert said.splitlines()[-1] == "camera: /dev/video7 is not there; plug the camera in"
    assert not is_at_work(stand.guard)


def test_frames_are_kept_beside_the_record(stand):
    code, said = run_with_camera(stand, "Violet")
    assert code == 0, said
    record = next((stand.folder / "runs").glob("*.sqlite"))
    frames = list(record.with_suffix(".frames").glob("*.png"))
    assert frames
    assert all(frame.read_bytes().startswith(b"\x89PNG") for frame in frames)


def test_a_device_that_reports_nothing_is_named_with_its_place_in_the_robot_file(stand):
    stand.robot["devices"]["range"] = {"driver": "scripted"}
    stand.straight_on()
    stand.emulate()
    line = refused(stand)
    assert line == "not in order: range; nothing was moved"
    assert "see 'devices: range:' (driver scripted) in the robot file; is it connected?" in stand.said
    assert [duty[1:] for duty in stand.emulator.applied] == [(0.0, 0.0)]


def test_simulated_devices_are_for_rehearsals(stand):
    stand.robot["devices"]["range"] = {"driver": "simulated"}
    stand.straight_on()
    assert refused(stand) == "range: driver 'simulated' works in a rehearsal only; name a real one in the robot file"


def test_a_drive_that_nothing_outlives_is_refused(stand):
    stand.robot["devices"]["drive"] = {"driver": "scripted"}
    stand.straight_on()
    assert refused(stand).startswith("motion needs two independent ways to zero")


def test_a_second_run_on_the_same_robot_is_refused_and_the_first_goes_on(stand):
    stand.straight_on()
    stand.emulate()
    process = stand.start("--enable-motion")
    stand.wait_until_moving()
    code, _, said = stand.run("--enable-motion")
    assert (code, said.splitlines()[-1][:36]) == (2, "another program commands this robot;")
    assert stand.is_moving
    assert stand.end(process, signal.SIGINT)[0] == 130


def test_a_line_unplugged_in_mid_run_is_a_stop_that_a_person_ends(stand):
    """With the line gone, only the co-processor's own deadline is left to bring the wheels to zero."""
    stand.straight_on()
    stand.emulate(deadline_ms=250)
    process = stand.start("--enable-motion")
    stand.wait_until_moving()
    stand.emulator.unplug(1.0)
    wait_for(lambda: "stopped: the serial line" in stand.said, f"the stop; said: {stand.said}")
    assert stand.end(process, signal.SIGINT)[0] == 130
    assert stand.record().events_of(Stop)[-1].cause.startswith("the serial line")
    wait_for(lambda: not stand.is_moving, "wheels at zero")
