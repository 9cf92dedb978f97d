"""What cannot be had is refused by every command that drives: one clear line, exit code 2, nothing left energised."""

import ctypes
import fcntl
import os
import pty
import shutil
import subprocess
import sys
import tempfile
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, contextmanager, suppress
from pathlib import Path
from typing import Any

import pytest
import yaml

from rover.guard.launch import is_at_work, retire
from rover.link.emulated_firmware import Firmware
from rover.link.emulated_hardware import WheelsFree
from rover.link.emulator import Emulator
from rover.link.port import open_serial

ROOT = Path(__file__).parents[2]
ROVER = [sys.executable, "-c", "from rover.commands.main import main; main()"]
COMMANDS = {
    "run": ["run", "errand.yaml", "--enable-motion"],
    "jog": ["jog", "robot.yaml"],
    "bring-up": ["bring-up", "robot.yaml", "--yes-to-all", "--only", "motors"],
}
ERRAND = {
    "errand": "Out and back",
    "files": {"robot": "robot.yaml", "behaviour": "rectangle.yaml"},
    "field": {
        "boundary": [["0 m", "0 m"], ["9 m", "0 m"], ["9 m", "9 m"], ["0 m", "9 m"]],
        "start": {"x": "1 m", "y": "4 m", "heading": "0 deg"},
    },
}
BODY = {"wheel_diameter": "72 mm", "track": "24 cm", "counts_per_rev": 1320, "gripper_reach": "16 cm"}
PR_CAPBSET_DROP, CAP_DAC_OVERRIDE = 24, 1
LIBRARY = ctypes.CDLL(None)
GPIOD = {
    "__init__.py": """
from unittest.mock import MagicMock as LineSettings
def request_lines(chip, config, **more): raise OSError(22, "Invalid argument")
""",
    "line.py": """
from unittest.mock import MagicMock
Bias = Clock = Direction = Edge = Value = MagicMock()
""",
}
"""The package at its seam, with a chip that has none of the lines it is asked for."""


def obey_permissions() -> None:
    """Have the kernel ask root for its permission too: see capabilities(7), CAP_DAC_OVERRIDE. Called in a child."""
    if os.getuid() == 0 and LIBRARY.prctl(PR_CAPBSET_DROP, CAP_DAC_OVERRIDE, 0, 0, 0):
        raise PermissionError


class Stand:
    """A robot file, an errand, and a terminal at which commands are started."""

    def __init__(self, folder: Path, command: str) -> None:
        self.folder, self.guard, self.port = folder, folder / "g", folder / "line"
        self._command = COMMANDS[command]
        shutil.copy(ROOT / "behaviours/rectangle.yaml", folder)
        (folder / "errand.yaml").write_text(yaml.safe_dump(ERRAND, sort_keys=False))

    def on_line(self, **devices: Any) -> None:
        """Write a robot whose motors are behind a co-processor."""
        linked = {family: {"driver": "co_processor", "link": "main"} for family in ("drive", "counts")}
        self._write(links={"main": {"port": str(self.port)}}, devices=linked | devices)

    def on_pins(self, **drive: Any) -> None:
        """Write a robot whose motors are on PWM channels 0 and 1 of a folder laid out as the kernel does it."""
        for channel in (0, 1):
            files = self.channel(channel)
            files.mkdir(parents=True)
            for name, text in {"period": "0", "duty_cycle": "0", "polarity": "normal", "enable": "0"}.items():
                (files / name).write_text(f"{text}\n")
        for name, text in {"npwm": "2\n", "export": "", "unexport": ""}.items():
            (self.channel(0).parent / name).write_text(text)
        (self.folder / "lines").mkdir()
        places = {"gpio": str(self.folder / "lines"), "pwm_files": str(self.folder / "pwm")}
        left, right = ({"pwm": side, "forward": 2 * side, "backward": 2 * side + 1} for side in (0, 1))
        bridge = {"driver": "h_bridge", "left": left, "right": right} | places | drive
        self._write(devices={"drive": bridge, "counts": {"driver": "scripted"}})

    def _write(self, **keys: Any) -> None:
        (self.folder / "robot.yaml").write_text(
            yaml.safe_dump({"robot": "Stand", "body": BODY} | keys, sort_keys=False)
        )

    def channel(self, number: int) -> Path:
        return self.folder / f"pwm/pwmchip0/pwm{number}"

    def refusal(self, prepare: Callable[[], None] | None = None) -> str:
        """Start the command, see that it refuses, and return the line that it says."""
        near, far = pty.openpty()
        try:
            ended = subprocess.run(
                [*ROVER, *self._command, "--guard", str(self.guard)],
                cwd=self.folder,
                stdin=far,
                capture_output=True,
                text=True,
                timeout=60,
                preexec_fn=prepare,
                env=os.environ | {"PYTHONPATH": f"{ROOT}{os.pathsep}{self.folder}"},
            )
        finally:
            os.close(near)
            os.close(far)
        assert ended.returncode == 2, ended.stderr
        assert not is_at_work(self.guard)
        assert len(ended.stderr.splitlines()) == 1, ended.stderr
        return ended.stderr.rstrip("\n")

    def is_silent(self) -> bool:
        """Tell whether the PWM channels are off."""
        files = [*self.folder.glob("pwm/*/*/duty_cycle"), *self.folder.glob("pwm/*/*/enable")]
        return len(files) > 1 and all(file.read_text().split()[0] == "0" for file in files)

    def end_guard(self) -> None:
        if is_at_work(self.guard):
            retire(self.guard)


@pytest.fixture(params=COMMANDS)
def stand(request: pytest.FixtureRequest) -> Iterator[Stand]:
    """The folder's name is short: the path of a socket has room for 107 characters."""
    with tempfile.TemporaryDirectory(prefix="i-") as name, ExitStack() as at_end:
        made = Stand(Path(name), request.param)
        at_end.callback(made.end_guard)
        yield made


@contextmanager
def co_processor(port: Path) -> Iterator[None]:
    """Emulate a co-processor without a deadline of its own, and see that it is given nothing but zero."""
    with closing(Emulator(WheelsFree(), port, firmware=Firmware(deadline_ms=None))) as emulator:
        yield
        assert {change[1:] for change in emulator.applied} <= {(0.0, 0.0)}


@contextmanager
def dumb_line(port: Path) -> Iterator[int]:
    """Put a line on a port with nobody behind it; yields its far end."""
    near, far = pty.openpty()
    port.symlink_to(os.ttyname(far))
    try:
        yield near
    finally:
        os.close(near)
        os.close(far)


@contextmanager
def babble(line: int) -> Iterator[None]:
    """Send what a device seems to send whose rate is another one."""
    is_over = threading.Event()
    os.set_blocking(line, False)

    def send() -> None:
        while not is_over.wait(0.02):
            with suppress(BlockingIOError):
                os.write(line, bytes(range(128, 250)))

    thread = threading.Thread(target=send)
    thread.start()
    try:
        yield
    finally:
        is_over.set()
        thread.join()


def refused_permission(stand: Stand, path: Path) -> str:
    """Return the line said when a file may not be opened."""
    path.chmod(0)
    with permission_asked():
        return stand.refusal(obey_permissions)


@contextmanager
def permission_asked() -> Iterator[None]:
    try:
        yield
    except subprocess.SubprocessError:
        pytest.skip("needs permissions that bind: another user than root, or one that may give up CAP_DAC_OVERRIDE")


def test_a_working_folder_without_permission(tmp_path):
    tmp_path.chmod(0o555)
    with permission_asked():
        ended = subprocess.run(
            [*ROVER, "rehearse", str(ROOT / "config/rectangle.yaml")],
            cwd=tmp_path,
            preexec_fn=obey_permissions,
            capture_output=True,
            text=True,
            timeout=60,
        )
    assert ended.returncode == 2
    assert "cannot make the folder 'runs'" in ended.stderr


class TestOnALine:
    def test_it_is_unplugged(self, stand):
        stand.on_line()
        assert stand.refusal().startswith(f"no such port: {stand.port}; plug the device in, or correct 'port:'")

    def test_permission_is_denied(self, stand):
        stand.on_line()
        with co_processor(stand.port):
            said = refused_permission(stand, stand.port.resolve())
        assert said.startswith(f"permission denied for {stand.port}; join the group that owns the port: sudo usermod")

    def test_another_process_has_the_port(self, stand):
        stand.on_line()
        with co_processor(stand.port), closing(open_serial(str(stand.port), 115200)):
            assert stand.refusal() == f"port {stand.port} is busy: another program has it open; close that one first"

    def test_the_port_is_that_of_something_that_is_silent(self, stand):
        stand.on_line()
        with dumb_line(stand.port):
            said = stand.refusal()
        assert said == (
            f"the co-processor on {stand.port} has not answered yet; check its power, and 'baud:' in the robot file"
        )

    def test_the_port_is_no_serial_port(self, stand):
        stand.on_line()
        stand.port.symlink_to("/dev/null")
        assert stand.refusal().startswith(f"cannot use {stand.port} as a serial port at 115200 baud")

    def test_the_baud_rate_is_wrong(self, stand):
        stand.on_line()
        with dumb_line(stand.port) as line, babble(line):
            said = stand.refusal()
        assert said.startswith(f"link 'main' on {stand.port}: no sentence was understood in what comes in;")
        assert "'baud: 115200' is probably not the device's" in said

    def test_a_pin_is_wrong(self, stand):
        (stand.folder / "gpiod").mkdir()
        for name, text in GPIOD.items():
            (stand.folder / "gpiod" / name).write_text(text)
        stand.on_line(stop_input={"driver": "stop_pin", "pin": 99})
        with co_processor(stand.port):
            said = stand.refusal()
        assert said.startswith("/dev/gpiochip0, line 99: the chip has no such line or cannot do this on it; check the")


class TestOnPins:
    def test_another_process_has_the_pwm_channel(self, stand):
        stand.on_pins()
        with (stand.channel(1) / "enable").open("rb+") as enable:
            fcntl.flock(enable, fcntl.LOCK_EX)
            said = stand.refusal()
        assert said.startswith("PWM channel 1 of chip 0 is in use by another process of this robot; end that one")
        assert stand.is_silent()

    def test_the_pwm_channel_is_wrong(self, stand):
        stand.on_pins(right={"pwm": 7, "forward": 2, "backward": 3})
        export = stand.channel(0).parent / "export"
        export.unlink()
        export.symlink_to(
            "/proc/self/clear_refs"
        )  # which refuses a 7 as the kernel refuses a channel that is not there
        assert stand.refusal() == "PWM channel 7 of chip 0: the chip has only 2 channels, from 0"
        assert stand.is_silent()

    def test_permission_is_denied(self, stand):
        stand.on_pins()
        shutil.rmtree(stand.channel(1))
        export = stand.channel(1).parent / "export"
        assert refused_permission(stand, export).startswith(f"PWM channel 1 of chip 0: {export}: permission denied; ")
        assert stand.is_silent()
