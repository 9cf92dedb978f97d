"""Every pair of built-in drivers of wheels and jaws: the guard holds both, or the robot is refused with a line."""

import contextlib
import itertools
import os
import re
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
import yaml

from rover.devices.families import FAMILIES
from rover.files.load import load
from rover.files.problems import FileProblems
from rover.guard.launch import is_at_work, retire, settings_of
from rover.guard.settings import LOCK_NAME
from rover.link.emulated_hardware import WheelsFree
from rover.link.emulator import Emulator

pytestmark = pytest.mark.real_time

ALLOWED_NS = 300_000_000
BODY = {"wheel_diameter": "72 mm", "track": "240 mm", "counts_per_rev": 1320, "gripper_reach": "14 cm"}
ONE_LINE = "the motor guard holds wheels and jaws on one serial line, and the drive is on "
REFUSED_BY_FILE = {
    ("h_bridge", "co_processor"): f"{ONE_LINE}pins; use 'servo_pins' here",
    ("h_bridge", "co_processor on another line"): f"{ONE_LINE}pins; use 'servo_pins' here",
    ("co_processor", "co_processor on another line"): f"{ONE_LINE}'main'; use it here",
    ("h_bridge", "servo_pins on a motor's channel"): "a motor has this channel; the servo needs its own",
}
HELD_JAWS = [("co_processor", "co_processor"), ("co_processor", "servo_pins"), ("h_bridge", "servo_pins")]
DRIVE, JAWS = (FAMILIES[family].keys.names() for family in ("drive", "gripper"))
JAWS = ("none", *JAWS, "co_processor on another line", "servo_pins on a motor's channel")
RUNTIME = """
import sys, time
from itertools import count
from pathlib import Path
from rover.devices.readings import DriveCommand, JawsCommand
from rover.files.load import load
from rover.session.hardware import open_devices

with open_devices(load(Path(sys.argv[1]), "robot").model, Path(sys.argv[2]), {}, 0) as devices:
    for number in count(1):
        now_ns = time.monotonic_ns()
        until_ns = now_ns + 250_000_000
        devices.client.poll()
        devices.client.enable()
        devices.drivers.made("gripper").apply(JawsCommand(0.0, number, until_ns), now_ns)
        devices.drivers.made("drive").apply(DriveCommand(0.5, 0.4, number, until_ns), now_ns)
        time.sleep(0.02)
"""


class Pins:
    """Three PWM channels (left, right, servo) in plain files, watched each millisecond."""

    def __init__(self, folder: Path) -> None:
        chip = folder / "pwm" / "pwmchip0"
        (folder / "lines").mkdir()
        for channel in range(3):
            (chip / f"pwm{channel}").mkdir(parents=True)
            for name, content in (("period", "0"), ("duty_cycle", "0"), ("polarity", "normal"), ("enable", "0")):
                (chip / f"pwm{channel}" / name).write_text(f"{content}\n")
        for name, content in (("npwm", "3\n"), ("export", ""), ("unexport", "")):
            (chip / name).write_text(content)
        self._files = [chip / f"pwm{channel}" / "duty_cycle" for channel in range(3)]
        self.changes: list[tuple[int, tuple[int, ...]]] = [(time.monotonic_ns(), (0, 0, 0))]
        self._closing = threading.Event()
        self._thread = threading.Thread(target=self._watch, daemon=True)
        self._thread.start()

    def _watch(self) -> None:
        while not self._closing.wait(0.001):
            duties = tuple(int(file.read_text().split("\n")[0] or "0") for file in self._files)
            if duties != self.changes[-1][1]:
                self.changes.append((time.monotonic_ns(), duties))

    def wheels(self) -> list[tuple[int, bool]]:
        return [(at_ns, bool(left or right)) for at_ns, (left, right, _) in self.changes]

    def pulses(self) -> list[tuple[int, int]]:
        return [(at_ns, servo // 1000) for at_ns, (_, _, servo) in self.changes]

    def close(self) -> None:
        self._closing.set()
        self._thread.join()


class Board(WheelsFree):
    """What hangs on an emulated co-processor: it notes what its servo is told."""

    def __init__(self) -> None:
        super().__init__()
        self.told: list[tuple[int, int]] = [(0, 0)]

    def servo(self, pulse_s: float | None, now_ns: int) -> None:
        self.told.append((now_ns, round((pulse_s or 0.0) * 1e6)))
        super().servo(pulse_s, now_ns)


@pytest.fixture
def folder() -> Iterator[Path]:
    with tempfile.TemporaryDirectory(prefix="w-") as name:
        yield Path(name)


def robot_file(folder: Path, drive: str, jaws: str, **gripper: str) -> Path:
    """Write a robot with drivers for wheels and jaws."""
    places = {"gpio": str(folder / "lines"), "pwm_files": str(folder / "pwm")}
    left, right = ({"pwm": side, "forward": 2 * side, "backward": 2 * side + 1} for side in (0, 1))
    pins = {"left": left, "right": right} | places if drive == "h_bridge" else {}
    on_link = {"link": "main"} if drive == "co_processor" else {}
    devices = {"drive": {"driver": drive} | on_link | pins, "counts": {"driver": "scripted"}}
    driver, _, where = jaws.partition(" on ")
    if driver != "none":
        channel = 0 if where == "a motor's channel" else 2
        on_pins = {"pwm_channel": channel} | places if driver == "servo_pins" else {}
        on_link = {"link": "aux" if where == "another line" else "main"} if driver == "co_processor" else {}
        devices["gripper"] = {"driver": driver} | on_link | on_pins | gripper
    links = {"main": {"port": str(folder / "main")}, "aux": {"port": str(folder / "aux")}}
    path = folder / "robot.yaml"
    robot = {"robot": "Pair", "body": BODY, "links": links, "devices": devices}
    path.write_text(yaml.safe_dump(robot, sort_keys=False))
    return path


@pytest.mark.parametrize(("drive", "jaws"), list(itertools.product(DRIVE, JAWS)))
def test_each_pair_is_held_by_the_guard_or_refused(folder, drive, jaws):
    path = robot_file(folder, drive, jaws)
    if why := REFUSED_BY_FILE.get((drive, jaws)):
        with pytest.raises(FileProblems, match=re.escape(why)):
            load(path, "robot")
        return
    robot = load(path, "robot").model
    if drive not in ("co_processor", "h_bridge"):
        with pytest.raises(ValueError, match=f"driver '{drive}' of drive moves nothing"):
            settings_of(robot)
        return
    settings = settings_of(robot)
    is_held = jaws.partition(" on ")[0] in ("co_processor", "servo_pins")
    assert (settings.servo is not None) == is_held
    assert len(settings.channels) == 2 * (drive == "h_bridge") + jaws.startswith("servo_pins")


@pytest.mark.parametrize("pair", REFUSED_BY_FILE, ids=" and ".join)
@pytest.mark.parametrize(
    "command",
    [("check", "robot.yaml"), ("bring-up", "robot.yaml", "--yes-to-all"), ("calibrate", "robot.yaml", "drive")],
    ids=lambda command: command[0],
)
def test_each_command_refuses_it_in_one_line(folder, pair, command):
    path = robot_file(folder, *pair)
    ended = subprocess.run(
        [sys.executable, "-m", "rover", *command], cwd=path.parent, capture_output=True, text=True, timeout=60
    )
    assert ended.returncode == 2
    assert REFUSED_BY_FILE[pair] in ended.stderr + ended.stdout
    assert "Traceback" not in ended.stderr


def wait_for(condition):
    for _ in range(10_000):
        if answer := condition():
            return answer
        time.sleep(0.002)
    raise AssertionError("the condition never came true")


@contextlib.contextmanager
def at_work(folder: Path, drive: str, jaws: str, on_stop: str):
    """Have a runtime of its own drive on, jaws closing; yield its process, and what wheels and jaws were told."""
    path = robot_file(folder, drive, jaws, on_stop=on_stop, push_for="3 s", travel_time="0.1 s")
    board, pins = Board(), Pins(folder)
    emulator = Emulator(board, folder / "main")
    runtime = subprocess.Popen([sys.executable, "-c", RUNTIME, path, folder / "g"])
    try:
        wheels = pins.wheels if drive == "h_bridge" else lambda: [(at, bool(a or b)) for at, a, b in emulator.applied]
        pulses = pins.pulses if jaws == "servo_pins" else lambda: board.told
        wait_for(lambda: wheels()[-1][1] and pulses()[-1][1])
        yield runtime, wheels, pulses
    finally:
        runtime.kill()
        runtime.wait()
        if is_at_work(folder / "g"):
            retire(folder / "g")
        emulator.close()
        pins.close()


@pytest.mark.parametrize("on_stop", ["limp", "release", "hold"])
@pytest.mark.parametrize(("drive", "jaws"), HELD_JAWS)
def test_a_runtime_that_is_killed_leaves_wheels_at_zero_and_jaws_as_is_stated(folder, drive, jaws, on_stop):
    with at_work(folder, drive, jaws, on_stop) as (runtime, wheels, pulses):
        killed_ns = time.monotonic_ns()
        runtime.kill()
        wait_for(lambda: not wheels()[-1][1])
        assert wheels()[-1][0] - killed_ns <= ALLOWED_NS
        wait_for(lambda: pulses()[-1][1] == 0)
        is_opened = any(at_ns > killed_ns and pulse_us == 1900 for at_ns, pulse_us in pulses())
        assert is_opened == (on_stop == "release")


@pytest.mark.parametrize(("drive", "jaws"), HELD_JAWS)
def test_a_guard_that_is_killed_leaves_wheels_at_zero_and_jaws_on_pins_limp(folder, drive, jaws):
    with at_work(folder, drive, jaws, "hold") as (_, wheels, pulses):
        guard = int((folder / "g" / LOCK_NAME).read_text().split()[1])
        killed_ns = time.monotonic_ns()
        os.kill(guard, signal.SIGKILL)
        wait_for(lambda: not wheels()[-1][1])
        assert wheels()[-1][0] - killed_ns <= ALLOWED_NS
        if jaws == "servo_pins":  # on a line the board itself lets them go limp, after ten seconds
            wait_for(lambda: pulses()[-1][1] == 0)
            assert pulses()[-1][0] - killed_ns <= ALLOWED_NS


def test_with_guard_and_supervisor_dead_the_runtime_itself_writes_zero_to_its_pins(folder):
    with at_work(folder, "h_bridge", "servo_pins", "hold") as (runtime, wheels, pulses):
        workers = [int(word) for word in (folder / "g" / LOCK_NAME).read_text().split()]
        killed_ns = time.monotonic_ns()
        for worker in workers:
            os.kill(worker, signal.SIGKILL)
        wait_for(lambda: not wheels()[-1][1] and not pulses()[-1][1])
        assert wheels()[-1][0] - killed_ns <= ALLOWED_NS
        assert runtime.poll() is None
