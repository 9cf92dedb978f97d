"""Every built-in driver passes the checks that ship for drivers of a person's own (`rover.testing`).

Real ones are at work on emulated hardware: a co-processor on a pseudo-terminal, the kernel's files, a board's lines.
"""

import os
import threading
import tty
from contextlib import ExitStack, closing
from functools import partial
from pathlib import Path
from typing import NamedTuple

import pytest

from rover.bench.bench import Bench
from rover.devices.camera.capture import CapturedFrames
from rover.devices.families import FAMILIES
from rover.devices.keys import SIMULATED
from rover.devices.protocols import DriverContext
from rover.devices.range.echo_pins import speed_of_sound
from rover.devices.registry import load_driver
from rover.errors import UserError
from rover.files import yaml_source
from rover.files.bench import BenchFile
from rover.files.errand import Errand
from rover.files.robot import Robot
from rover.guard.drivers import drivers_by_guard
from rover.guard.in_process import GuardThread
from rover.guard.launch import settings_of
from rover.link import Link, open_link
from rover.link.emulated_hardware import WheelsFree
from rover.link.emulator import Emulator
from rover.link.framing import frame
from rover.session.clocks import PacedClock
from rover.testing import CHECKS, ContractError, DriverUnderTest, SteppedClock, in_robot, trial

from .camera.motion_jpeg import Server

CART = yaml_source.read(Path(__file__).parents[2] / "config/cart.yaml", "cart.yaml").values
SECOND = 1_000_000_000
PACE = 4.0
ON_LINK = {"driver": "co_processor", "link": "main"}


def robot_with(links=None, **devices):
    usual = {"drive": {"driver": "scripted"}, "counts": {"driver": "scripted"}}
    values = {"robot": "Under test", "body": CART["body"], "links": links or {}, "devices": usual | devices}
    return Robot.model_validate(values)


def verdicts(subject):
    said = {}
    for check in CHECKS:
        try:
            check(subject)
        except (ContractError, UserError) as error:
            said[check.__name__] = str(error)
    return said


SCRIPTS = {
    "counts": [5, -3],
    "heading": ["20 deg"],
    "range": ["1.5 m"],
    "camera": [],
    "gripper": [0.5, True],
    "battery": ["12.4 V"],
    "stop_input": [True],
}


@pytest.mark.parametrize("family", FAMILIES)
def test_the_fake(family):
    keys = {"driver": "scripted"}
    if family in SCRIPTS:
        keys |= {"rate": "20 Hz", "script": [[f"{50 * step} ms", *SCRIPTS[family]] for step in range(200)]}
    if family == "gripper":
        keys |= {"feedback": "position"}
    robot = robot_with(**{family: keys})
    logs = []

    def make():
        driver = load_driver(family, "scripted")(robot.devices.fitted()[family].options, DriverContext(robot, 1, {}))
        logs.append(getattr(driver, "commands", []))
        return driver

    told = (lambda: list(logs[-1])) if family in ("drive", "gripper") else None
    assert verdicts(DriverUnderTest(make, robot, family, told=told, new_clock=SteppedClock)) == {}


@pytest.mark.parametrize("family", FAMILIES)
def test_the_stand_in_of_the_bench(family):
    keys = CART["devices"] | {"gripper": CART["devices"]["gripper"] | {"feedback": "position"}}
    robot = Robot.model_validate(
        CART | {"devices": {name: keys.get(name, {}) | {"driver": SIMULATED} for name in FAMILIES}}
    )
    errand = Errand.model_validate(
        {
            "errand": "Under test",
            "files": {"robot": "cart.yaml", "behaviour": "none.yaml"},
            "field": {"boundary": [["0 m", "0 m"], ["9 m", "0 m"], ["9 m", "9 m"]], "start": {"x": "5 m", "y": "2 m"}},
        }
    )
    benches = []

    def make():
        benches.append(Bench(BenchFile(bench="empty"), robot, errand, 1))
        return load_driver(family, SIMULATED)(
            robot.devices.fitted()[family].options, DriverContext(robot, 1, {}, benches[-1], name=family)
        )

    def told():
        bench = benches[-1]
        return bench.base.left_travel, bench.base.right_travel, bench.jaws_state

    assert verdicts(DriverUnderTest(make, robot, family, told=told, new_clock=SteppedClock)) == {}


class Jaws(WheelsFree):
    """A machine whose jaws are open to begin with."""

    def __init__(self):
        super().__init__()
        self._opening = 1.0


@pytest.fixture
def brief(monkeypatch):
    """Trials in real time last for no more than is needed."""
    monkeypatch.setattr(trial, "LEAST_S", 0.3)
    monkeypatch.setattr(trial, "REPORTS", 3)


class Line(NamedTuple):
    """A robot on a serial line, which is open; what is behind it, and the clock of it all."""

    robot: Robot
    links: dict[str, Link]
    guard: GuardThread
    emulator: Emulator
    clock: PacedClock


@pytest.mark.usefixtures("brief")
class TestOnACoProcessor:
    @pytest.fixture
    def line(self, tmp_path):
        """As in a wired rehearsal, some times faster than real time."""
        jaws = {**ON_LINK, "open": "1.9 ms", "closed": "1.1 ms", "feedback": "position", "rate": "10 Hz"}
        robot = robot_with(
            {"main": {"port": str(tmp_path / "main")}},
            drive=ON_LINK,
            counts=ON_LINK,
            heading=ON_LINK,
            battery=ON_LINK,
            gripper=jaws,
        )
        clock = PacedClock(PACE)
        with ExitStack() as stack:
            emulator = Emulator(Jaws(), tmp_path / "main", clock.now_ns)
            stack.callback(emulator.close)
            guard = GuardThread(settings_of(robot), clock.now_ns, PACE)
            stack.callback(guard.close)
            link = Link(guard, 115200)
            stack.callback(link.close)
            yield Line(robot, {"main": link}, guard, emulator, clock)

    @pytest.mark.parametrize("name", ["counts", "heading", "battery"])
    def test_what_it_measures(self, line, name):
        assert verdicts(in_robot(line.robot, name, links=line.links, new_clock=lambda: line.clock)) == {}

    @pytest.mark.parametrize("name", ["drive", "gripper"])
    def test_what_the_guard_tells_it(self, line, name):
        def make():
            return drivers_by_guard(DriverContext(line.robot, 1, line.links), line.guard.settings, line.guard)[name]

        told = {"told": lambda: line.emulator.applied, "new_clock": lambda: line.clock}
        assert verdicts(DriverUnderTest(make, line.robot, name, **told)) == {}


@pytest.mark.usefixtures("brief")
def test_a_compass(tmp_path):
    """Five sentences a second, as such compasses send; on a line of its own."""
    device, far = os.openpty()
    tty.setraw(far)
    robot = robot_with(
        {"aft": {"port": os.ttyname(far), "baud": 4800}}, heading={"driver": "compass", "link": "aft", "rate": "5 Hz"}
    )
    sent = []

    def send(now_ns):
        if not sent or now_ns - sent[-1] >= 0.2 * SECOND:
            sent.append(now_ns)
            os.write(device, frame("HCHDT,90.0,T"))

    with closing(open_link(robot.links["aft"])) as link:
        assert verdicts(in_robot(robot, "heading", links={"aft": link}, hardware=send)) == {}
    os.close(device)
    os.close(far)


class TestOnPins:
    """A board's lines and the kernel's files, in the time of the test."""

    def test_encoders(self, board):
        robot = robot_with(counts={"driver": "encoder_pins", "left": {"a": 5, "b": 6}, "right": {"a": 7, "b": 8}})

        def turn(now_ns):
            board.edge(5, not board.level[5], now_ns)

        assert verdicts(in_robot(robot, "counts", hardware=turn, new_clock=SteppedClock)) == {}

    def test_a_stop_input(self, board):
        robot = robot_with(stop_input={"driver": "stop_pin", "pin": 17})
        assert verdicts(in_robot(robot, "stop_input", new_clock=SteppedClock)) == {}

    def test_echoes(self, board):
        robot = robot_with(range={"driver": "echo_pins", "trigger": 23, "echo": 24})
        pinged, seen = [], len(board.history)

        def echo(now_ns):
            nonlocal seen
            if any(write.get(23) for write in board.history[seen:]):
                board.edge(24, True, pinged[-1] + 500_000)
                board.edge(24, False, pinged[-1] + 500_000 + round(2.0 / speed_of_sound(20.0) * SECOND))
            seen = len(board.history)
            pinged.append(now_ns)

        assert verdicts(in_robot(robot, "range", hardware=echo, new_clock=SteppedClock)) == {}

    def test_a_servo_with_feedback(self, pwm, tmp_path):
        pwm.add_channel(1)
        (tmp_path / "in_voltage1_raw").write_text("700\n")
        feedback = {"feedback": "position", "feedback_file": str(tmp_path / "in_voltage1_raw")}
        servo = {
            "driver": "servo_pins",
            "pwm_channel": 1,
            "pwm_files": str(pwm.root),
            "reads_closed": 900,
            "reads_open": 100,
        }
        robot = robot_with(gripper=servo | feedback)
        told = partial(pwm.value, 1, "duty_cycle")
        assert verdicts(in_robot(robot, "gripper", told=told, new_clock=SteppedClock)) == {}

    def test_a_battery(self, tmp_path):
        (tmp_path / "in_voltage0_raw").write_text("3000\n")
        file = {"driver": "adc_file", "file": str(tmp_path / "in_voltage0_raw"), "scale": "0.8 mV", "divider": 5.0}
        assert verdicts(in_robot(robot_with(battery=file), "battery", new_clock=SteppedClock)) == {}


class TestCameras:
    @pytest.fixture(autouse=True)
    def brief_trials(self, brief):
        pytest.importorskip("cv2", reason="needs the extra 'vision': pip install -e '.[vision]'")

    @staticmethod
    def picture(number):
        import numpy

        return numpy.full((480, 640, 3), 100 + number % 50, numpy.uint8)

    def test_a_camera_of_the_network(self):
        with closing(Server(self.picture)) as server:
            robot = robot_with(camera={"driver": "network_camera", "address": server.address, "rate": "25 Hz"})
            is_over = threading.Event()
            sending = threading.Thread(target=lambda: [server.send(1) for _ in iter(lambda: is_over.wait(0.04), True)])
            sending.start()
            try:
                assert verdicts(in_robot(robot, "camera")) == {}
            finally:
                is_over.set()
                sending.join()

    def test_a_folder_of_pictures(self, tmp_path):
        import cv2

        for number in range(3):
            assert cv2.imwrite(str(tmp_path / f"{number}.png"), self.picture(number))
        robot = robot_with(camera={"driver": "picture_folder", "folder": str(tmp_path)})
        assert verdicts(in_robot(robot, "camera")) == {}

    def test_the_thread_that_reads_a_camera_of_the_kernel(self):
        class Capture:
            """Gives 20 frames a second."""

            def __init__(self):
                self._pace, self._number = threading.Event(), 0

            def grab(self):
                self._number += 1
                return not self._pace.wait(0.05)

            def retrieve(self):
                return True, TestCameras.picture(self._number)

            def release(self):
                self._pace.set()

        robot = robot_with(camera={"driver": "video", "rate": "20 Hz"})
        subject = DriverUnderTest(lambda: CapturedFrames(Capture(), "the camera", 0.08), robot, "camera")
        assert verdicts(subject) == {}
