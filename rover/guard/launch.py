"""What a guard has to know of a robot; starting it and its supervisor, finding one that is there, ending them."""

import contextlib
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

from rover.devices.drive.keys import CoProcessorDriveKeys
from rover.devices.families import motor_channels, servo_channels
from rover.devices.keys import Unguarded
from rover.devices.stop_input.keys import StopPinKeys
from rover.files.robot import Robot
from rover.guard.client import GuardError, state_of, stop_now
from rover.guard.protocol import State
from rover.guard.settings import CHANNELS_NAME, DEADLINE_NS, LOCK_NAME, LOG_NAME, SETTINGS_NAME, GuardSettings
from rover.guard.supervisor import take_lock
from rover.stopping import LATCHED

START_WITHIN_S = 10.0
_RETIRE_WITHIN_S = 3.0
_LONGEST_PATH = 90


def prepare_folder(folder: Path) -> None:
    """Make the private folder (mode 0700), or see that it is ours alone.

    Raises:
        GuardError: it belongs to someone else, is a link, or its name is too long for a socket.
    """
    if len(str(folder.absolute())) > _LONGEST_PATH:
        raise GuardError(f"{folder}: too long a name for the guard's sockets; choose a folder with a shorter one")
    with contextlib.suppress(FileExistsError):
        folder.mkdir(mode=0o700, parents=True)
    found = folder.lstat()
    if folder.is_symlink() or not folder.is_dir() or found.st_uid != os.getuid():
        raise GuardError(f"{folder}: not a folder of this user; remove it, or choose another one for the guard")
    folder.chmod(0o700)


def why_no_motion(robot: Robot) -> str:
    """Return why motion must not be enabled on a robot, or ''.

    What the guard holds has two independent ways to zero: the guard's deadline, and the co-processor's or the
    supervisor. What a driver of a person's own moves the guard cannot hold, so that its device needs a deadline of its
    own. What works of them the guard tells.
    """
    for family, device in (("drive", robot.devices.drive), ("gripper", robot.devices.gripper)):
        if isinstance(device, Unguarded) and device.own_deadline is None:
            return (
                f"the motor guard cannot hold what driver '{device.driver}' of {family} moves: the device itself must "
                f"come to rest without commands, and 'own_deadline:' in its block say within which time"
            )
    return ""


def settings_of(robot: Robot) -> GuardSettings:
    """Return what the guard has to know of a robot.

    Raises:
        ValueError: what it moves has no two ways to zero, or there is nothing to move.
    """
    drive = robot.devices.drive
    if why := why_no_motion(robot):
        raise ValueError(why)
    if drive.driver not in drive.DRIVERS and not drive.is_own:
        raise ValueError(f"driver '{drive.driver}' of drive moves nothing; name a real one in the robot file")
    line = _line_of(robot, drive.link) if isinstance(drive, CoProcessorDriveKeys) else {}
    gripper = robot.devices.gripper
    if gripper is not None and gripper.driver not in gripper.DRIVERS:
        gripper = None  # a person's own, or a fake
    stop = robot.devices.stop_input
    deadline_ns = min(DEADLINE_NS, round(robot.limits.command_lasts * 1e9))
    return GuardSettings(
        drive={} if drive.is_own else drive.options | line,
        servo=None if gripper is None else gripper.options,
        stop_input=stop.options if isinstance(stop, StopPinKeys) else None,
        channels=(*motor_channels(drive), *(() if gripper is None else servo_channels(gripper))),
        watchdog=drive.watchdog,
        deadline_ns=deadline_ns,
    )


def _line_of(robot: Robot, link: str) -> dict[str, Any]:
    return {"port": os.path.abspath(robot.links[link].port), "baud": robot.links[link].baud}


def start_guard(settings: GuardSettings, folder: Path) -> "GuardProcess":
    """Start a guard and its supervisor, before anything else is; one that is there with the same settings is kept.

    A guard that outlived its runtime keeps a latched stop, and hands it on: to the next runtime, and where it has other
    settings or has lost its supervisor, to the guard that replaces it.

    Raises:
        GuardError: it did not come up, or another one cannot be made to end.
    """
    prepare_folder(folder)
    written, stopped_by = folder / SETTINGS_NAME, ""
    if is_at_work(folder):
        if _is_whole(folder) and written.exists() and written.read_text("utf-8") == settings.dumps():
            return GuardProcess(folder, None)
        stopped_by = _cause_to_keep(folder)
        retire(folder)
    written.write_text(settings.dumps(), "utf-8")
    duties = (f"{root}/pwmchip{chip}/pwm{channel}/duty_cycle\n" for root, chip, channel in settings.channels)
    (folder / CHANNELS_NAME).write_text("".join(duties), "utf-8")
    process = GuardProcess(folder, _spawn(folder))
    try:
        process.wait_until_ready()
        if stopped_by:
            stop_now(folder, stopped_by)
    except BaseException:
        process.close()
        raise
    return process


def _is_whole(folder: Path) -> bool:
    """Tell whether guard and supervisor both live, and neither is halted: one alone would never permit motion again."""
    workers = _workers(folder)
    return len(workers) == 2 and not any(_is_halted(process) for process in workers)


def _is_halted(process: int) -> bool:
    try:
        return Path(f"/proc/{process}/stat").read_text("ascii").rpartition(")")[2].split()[0] == "T"
    except OSError:
        return False


def _cause_to_keep(folder: Path) -> str:
    """Return why motion is stopped at a guard that is to be replaced, '' where it has never been enabled."""
    try:
        state = state_of(folder)
    except GuardError:
        return "the guard had to be started again"
    return state.cause if state.phase in LATCHED else ""


def _spawn(folder: Path) -> "subprocess.Popen[bytes]":
    root = Path(__file__).parents[2]
    # Not a pipe for what it has to say: a runtime that stands still would let that fill up, and the guard with it.
    with (folder / LOG_NAME).open("ab") as log:
        return subprocess.Popen(
            [sys.executable, "-P", "-m", "rover.guard", "supervise", str(folder.absolute()), str(os.getpid())],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=log,
            start_new_session=True,
            cwd="/",
            env={**os.environ, "PYTHONPATH": str(root)},
        )


def is_at_work(folder: Path) -> bool:
    """Tell whether a guard or its supervisor lives in a folder."""
    try:
        os.close(take_lock(folder))
    except BlockingIOError:
        return True
    except FileNotFoundError:
        return False
    return False


def retire(folder: Path) -> None:
    """End the supervisor and the guard that are at work in a folder; the wheels come to zero first.

    Raises:
        GuardError: they do not end.
    """
    for process in _workers(folder):
        with contextlib.suppress(ProcessLookupError):
            os.kill(process, signal.SIGTERM)
            os.kill(process, signal.SIGCONT)  # one that was halted hears nothing
    end_ns = time.monotonic_ns() + int(_RETIRE_WITHIN_S * 1e9)
    while is_at_work(folder) and time.monotonic_ns() < end_ns:
        time.sleep(0.01)
    if is_at_work(folder):
        raise GuardError(f"the motor guard in {folder} does not end; end it by hand: processes {_workers(folder)}")


def _workers(folder: Path) -> list[int]:
    """Return the processes noted in the lock that really are a guard's: numbers are used again."""
    noted = [int(number) for number in (folder / LOCK_NAME).read_text("ascii").split()]
    return [process for process in noted if b"rover.guard" in _command_line(process)]


def _command_line(process: int) -> bytes:
    try:
        return Path(f"/proc/{process}/cmdline").read_bytes()
    except OSError:
        return b""


class GuardProcess:
    """A guard at work in a folder; ``supervisor`` is None where it was there before."""

    def __init__(self, folder: Path, supervisor: "subprocess.Popen[bytes] | None") -> None:
        self.folder = folder
        self._supervisor = supervisor

    def wait_until_ready(self) -> State:
        """Return the guard's first word.

        Raises:
            GuardError: it does not come up.
        """
        end_ns = time.monotonic_ns() + int(START_WITHIN_S * 1e9)
        while time.monotonic_ns() < end_ns and (self._supervisor is None or self._supervisor.poll() is None):
            with contextlib.suppress(GuardError):
                return state_of(self.folder)
            time.sleep(0.01)
        raise GuardError(f"the motor guard did not come up; {self.folder / LOG_NAME} says why")

    def close(self) -> None:
        """End the guard and its supervisor; a second call does nothing."""
        if is_at_work(self.folder):
            retire(self.folder)
        if self._supervisor is not None:
            self._supervisor.wait()
