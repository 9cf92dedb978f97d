"""`rover calibrate` from the command line to the robot file."""

import json
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from rover.commands import main as cli

CONFIG = Path(__file__).parents[2] / "config"
COMMAND = [sys.executable, "-c", "from rover.commands.main import main; main()"]
TIME_LIMIT_S = 60


@pytest.fixture
def folder(tmp_path, monkeypatch):
    for name in ("cart.yaml", "mild.yaml"):
        shutil.copy(CONFIG / name, tmp_path)
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture
def rover(folder):
    """Run a command in a folder with a cart and a mild bench; return the ended process."""

    def run(*arguments, typed=""):
        return subprocess.run(
            [*COMMAND, *arguments], input=typed, capture_output=True, text=True, timeout=TIME_LIMIT_S, cwd=folder
        )

    return run


def is_untouched(folder):
    return (folder / "cart.yaml").read_bytes() == (CONFIG / "cart.yaml").read_bytes() and not list(folder.glob("*.bak"))


def test_drive_tells_before_and_after_and_keeps_a_record_and_practice_leaves_the_robot_file_alone(rover, folder):
    ended = rover("calibrate", "cart.yaml", "drive", "--bench", "mild.yaml", "--seed", "3", typed="yes\n")

    assert ended.returncode == 0, ended.stderr
    rows = dict(re.findall(r"^([a-z_.]+\w) +\S+(?: mm)? +(\S+)", ended.stdout, re.MULTILINE))
    assert {"body.wheel_diameter", "body.track_factor", "devices.counts.left_scale"} <= set(rows)
    assert "the bench's truth: effective track 401.6 mm" in ended.stdout
    assert "these are the values of the bench's robot, not of a real one: cart.yaml is as it was" in ended.stdout
    assert "Type yes" not in ended.stderr
    assert is_untouched(folder)
    (record,) = (folder / "runs").glob("*.json")
    assert json.loads(record.read_text("utf-8"))["changes"][0]["key"] == ["body", "wheel_diameter"]
    assert record.with_suffix(".png").read_bytes().startswith(b"\x89PNG")


@pytest.mark.parametrize(
    ("arguments", "why"),
    [
        (["drive", "--bench", "faulty.yaml"], "wheels do not turn, or are not counted"),
        (["drive", "--bench", "mild.yaml", "--side", "20 m"], "a square of 20 m"),
        (["drive", "--bench", "mild.yaml", "--side", "1"], "write its unit"),
    ],
)
def test_what_cannot_be_used_is_one_message_and_writes_nothing(arguments, why, rover, folder):
    (folder / "faulty.yaml").write_text("bench: No drive\nfaults: ['at 0 s: drive silent']\n", "utf-8")
    ended = rover("calibrate", "cart.yaml", *arguments)

    assert ended.returncode == 2
    assert re.search(why, ended.stderr)
    assert ended.stderr.splitlines()[-1] == "nothing was written"
    assert is_untouched(folder)


def test_help_names_what_can_be_calibrated(capsys):
    with pytest.raises(SystemExit):
        cli.main(["calibrate", "--help"])

    assert "drive|heading|range|gripper" in capsys.readouterr().out


class TestOnTheRobot:
    """The real path: guard, serial line and a co-processor, which is emulated on a pseudo-terminal."""

    @pytest.fixture
    def port(self, folder):
        emulator = subprocess.Popen([*COMMAND, "emulate", "cart.yaml"], stdout=subprocess.PIPE, text=True, cwd=folder)
        assert emulator.stdout is not None
        yield re.search(r"link 'main': (\S+)", emulator.stdout.readline())[1]
        emulator.terminate()
        emulator.wait(TIME_LIMIT_S)
        emulator.stdout.close()

    def test_the_jaws_are_moved_and_the_file_is_written(self, port, rover, folder):
        typed = "yes\n\nyes\n2050 us\nyes\n"
        options = ("--port", f"main={port}", "--guard", str(folder / "guard"), "--write")
        ended = rover("calibrate", "cart.yaml", "gripper", *options, typed=typed)

        assert ended.returncode == 0, ended.stderr
        assert "open: 2050 us" in (folder / "cart.yaml").read_text("utf-8")
        assert list((folder / "runs").glob("*.sqlite"))

    @pytest.mark.parametrize(("typed", "is_written"), [("yes\n", True), ("no\n", False), ("", False)])
    def test_the_file_is_written_at_a_typed_yes_only(self, typed, is_written, port, rover, folder):
        options = ("--port", f"main={port}", "--guard", str(folder / "guard"))
        ended = rover("calibrate", "cart.yaml", "gripper", *options, typed=f"yes\n\nyes\n2050 us\nyes\n{typed}")

        assert ended.returncode == 0, ended.stderr
        assert is_untouched(folder) is not is_written

    def test_without_a_typed_yes_nothing_moves(self, port, rover, folder):
        options = ("--port", f"main={port}", "--guard", str(folder / "guard"), "--write")
        ended = rover("calibrate", "cart.yaml", "drive", *options, typed="no\n")

        assert ended.returncode == 2
        assert "motion was not permitted; nothing was moved" in ended.stderr
        assert is_untouched(folder)
