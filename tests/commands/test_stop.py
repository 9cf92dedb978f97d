"""`rover stop` and `rover reset` from another terminal, on real guards; each names its robot: no other is stopped."""

import contextlib
import os
import pwd
import signal
import socket
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

import pytest
import yaml

from rover.files import yaml_source
from rover.files.load import load
from rover.guard.client import GuardClient, state_of
from rover.guard.find import FoundGuard, guards
from rover.guard.launch import settings_of, start_guard
from rover.guard.protocol import Phase, State
from rover.link.emulated_firmware import Firmware
from rover.link.emulated_hardware import WheelsFree
from rover.link.emulator import Emulator
from tests.session.conftest import Stand

pytestmark = pytest.mark.real_time

ROOT = Path(__file__).parents[2]


class Bay:
    """A folder with a robot file, its emulated co-processor, and guards."""

    def __init__(self, folder: Path, closing: contextlib.ExitStack) -> None:
        self.folder, self.robot, self._closing = folder, folder / "robot.yaml", closing
        keys = yaml_source.read(ROOT / "config/cart.yaml", "cart.yaml").values
        self.robot.write_text(
            yaml.safe_dump(keys | {"links": {"main": {"port": str(folder / "line")}}}, sort_keys=False)
        )
        emulator = Emulator(WheelsFree(), folder / "line", firmware=Firmware(deadline_ms=None))
        closing.callback(emulator.close)

    def guard(self, name: str) -> Path:
        folder = self.folder / name
        process = start_guard(settings_of(load(self.robot, "robot").model), folder)
        self._closing.callback(process.close)
        return folder

    def running(self, folder: Path) -> GuardClient:
        """Return a client that has enabled motion."""
        client = GuardClient(folder)
        self._closing.callback(client.close)
        heard(client, client.hello, lambda state: state.output_open)
        heard(client, client.enable, lambda state: state.phase is Phase.RUNNING)
        return client


def heard(client: GuardClient, ask: Callable[[], object], is_so: Callable[[State], bool]) -> None:
    """Ask until the guard says that it is so: on a busy machine a permission may lapse at once."""

    def asked() -> bool:
        ask()
        client.wait(0.1)
        client.poll()
        return client.state is not None and is_so(client.state)

    Stand.wait_for(asked, lambda: f"the guard's word; its last one: {client.state}")


@pytest.fixture
def bay():
    with tempfile.TemporaryDirectory(prefix="s-") as name, contextlib.ExitStack() as closing:
        yield Bay(Path(name), closing)


def test_a_running_robot_is_stopped_and_what_it_was_is_said(rover, bay):
    folder = bay.guard("g")
    bay.running(folder)
    assert rover("stop", bay.robot) == (0, "stopped; was: running\n", "")
    state = state_of(folder)
    assert (state.phase, state.cause) == (Phase.STOPPED, "stopped by rover stop")
    code, out, _ = rover("stop", "--guard", folder)
    assert (code, out) == (0, "stopped; was: stopped (stopped by rover stop)\n")


def test_a_reset_starts_nothing_and_says_that_a_resume_is_due(rover, bay):
    folder = bay.guard("g")
    client = bay.running(folder)
    rover("stop", bay.robot)
    code, out, _ = rover("reset", bay.robot)
    assert (code, out.splitlines()) == (
        0,
        ["reset; nothing moves before a resume: g at the run's terminal, or the robot's start button"],
    )
    assert state_of(folder).phase is Phase.READY
    heard(client, client.resume, lambda state: state.phase is Phase.RUNNING)


def test_what_is_not_stopped_is_not_reset(rover, bay):
    folder = bay.guard("g")
    bay.running(folder)
    code, out, said = rover("reset", "--guard", folder)
    assert (code, out) == (1, "")
    assert said == "not reset: there is no stop to reset\n"


def test_all_guards_of_a_robot_are_stopped_each_with_its_line(rover, bay):
    """The second one finds the line taken; what it is told to stop, it stops all the same."""
    first = bay.guard("g1")
    bay.running(first)
    second = bay.guard("g2")
    code, out, _ = rover("stop", bay.robot)
    assert code == 0
    assert [line.split(":")[0] for line in out.splitlines()] == [str(first), str(second)]
    assert all(": stopped; was: " in line for line in out.splitlines())
    assert state_of(first).phase is state_of(second).phase is Phase.STOPPED


def test_a_guard_that_hangs_is_no_silent_success(rover, bay):
    folder = bay.guard("g")
    supervisor, guard = (int(number) for number in (folder / "guard.lock").read_text().split())
    os.kill(supervisor, signal.SIGSTOP)
    os.kill(guard, signal.SIGSTOP)
    try:
        code, out, said = rover("stop", bay.robot)
    finally:
        os.kill(guard, signal.SIGCONT)
        os.kill(supervisor, signal.SIGCONT)
    assert (code, out) == (1, "")
    assert "does not answer; use the hard-wired stop" in said
    assert len(said.splitlines()) == 1


@pytest.fixture
def ending(tmp_path):
    """A guard that is about to end: its process is there, and nothing else of it."""
    words = ["-c", "input()", "-m", "rover.guard", "guard", str(tmp_path), "last"]
    with subprocess.Popen([sys.executable, *words], stdin=subprocess.PIPE) as process:
        Stand.wait_for(lambda: any(one.folder == tmp_path for one in guards()), "it is found")
        yield tmp_path
        process.communicate(b"\n")


def test_a_guard_that_has_ended_meanwhile_is_no_failure(rover, bay, ending):
    folder = bay.guard("g")
    bay.running(folder)
    assert rover("stop", bay.robot) == (0, "stopped; was: running\n", "")


def test_nor_does_it_pass_for_a_robot(rover, bay, ending):
    code, out, said = rover("stop", bay.robot)
    assert (code, out) == (2, "")
    assert said.startswith("no motor guard holds the motors that ")


@pytest.mark.parametrize("name", ["stop", "reset"])
class TestNothingThere:
    def test_a_folder_without_a_guard(self, rover, tmp_path, name):
        line = f"no robot is at work in {tmp_path}: there is no motor guard\n"
        assert rover(name, "--guard", tmp_path) == (2, "", line)
        assert rover(name, "--guard", tmp_path / "no")[0] == 2

    def test_a_robot_that_no_guard_holds(self, rover, bay, name):
        code, out, said = rover(name, bay.robot)
        assert (code, out) == (2, "")
        assert said.startswith(f"no motor guard holds the motors that {bay.robot} names: ")
        assert len(said.splitlines()) == 1

    def test_the_robot_of_an_errand(self, rover, bay, name):
        errand = (ROOT / "config/stand.yaml").read_text()
        errand = errand.replace("{robot: emulated.yaml, behaviour: ../behaviours/", "{robot: robot.yaml, behaviour: ")
        (bay.folder / "errand.yaml").write_text(errand.replace("rectangle.yaml}", "rectangle}"))
        code, _, said = rover(name, bay.folder / "errand.yaml")
        assert code == 2
        assert said.startswith(f"no motor guard holds the motors that {bay.folder / 'errand.yaml'} names: ")

    def test_a_robot_file_that_is_none(self, rover, tmp_path, name):
        (tmp_path / "robot.yaml").write_text("errand: no")
        code, _, said = rover(name, tmp_path / "robot.yaml")
        assert code == 2
        assert "Traceback" not in said


def test_guards_are_found_wherever_their_folders_are(bay):
    folder = bay.guard("g")
    assert FoundGuard(folder, os.getuid()) in guards()


def test_whose_it_is_is_said():
    assert FoundGuard(Path("/run/x"), 0).how_to_reach == f"sudo -u {pwd.getpwuid(0).pw_name}"
    assert FoundGuard(Path("/run/x"), 4_000_000).how_to_reach == "sudo -u '#4000000'"


class TestARun:
    """A whole run, and another process that stops it."""

    @pytest.fixture
    def stand(self):
        with tempfile.TemporaryDirectory(prefix="r-") as name, contextlib.ExitStack() as closing:
            yield Stand(Path(name), closing)

    def test_it_is_stopped_and_one_without_a_terminal_says_what_to_do_and_ends(self, stand, rover):
        stand.straight_on()
        stand.emulate()
        process = stand.start("--enable-motion")
        stand.wait_until_moving()
        robot = stand.folder / "config/robot.yaml"
        assert rover("stop", robot)[:2] == (0, "stopped; was: running\n")
        stand.wait_for(lambda: not stand.is_moving, "wheels at zero")
        assert stand.end(process, signal.SIGINT)[0] == 130
        again = stand.start("--enable-motion")
        again.communicate(timeout=60)
        assert again.returncode == 1
        assert stand.said.splitlines()[-1] == (
            "motion is not permitted: stopped by rover stop; nobody is at a terminal here to press r and g: type "
            "'rover reset', then start the run again"
        )
        answer = rover("reset", robot)
        assert answer[0] == 0, answer
        stand.start("--enable-motion")
        stand.wait_until_moving()

    def test_as_a_service_it_waits_for_the_reset(self, stand, rover):
        stand.straight_on()
        stand.emulate()
        process = stand.start("--enable-motion")
        stand.wait_until_moving()
        robot = stand.folder / "config/robot.yaml"
        rover("stop", robot)
        stand.end(process, signal.SIGINT)
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
            manager.bind(str(stand.folder / "told"))
            process = stand.start("--enable-motion", NOTIFY_SOCKET=str(stand.folder / "told"))
            stand.wait_for(lambda: "waiting for 'rover reset'" in stand.said, lambda: f"it waits; said: {stand.said}")
            assert rover("reset", robot)[0] == 0
            assert process.poll() is None
            assert not stand.is_moving
            assert stand.end(process, signal.SIGTERM)[0] == 143
