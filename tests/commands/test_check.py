import subprocess
import sys
from pathlib import Path

import pytest

from rover.files import driver_keys

CONFIG = Path(__file__).parents[2] / "config"


@pytest.mark.parametrize("name", ["greenhouse", "rectangle", "roam", "patrol", "cart", "bay", "steel"])
def test_the_files_of_the_project_are_right(rover, name):
    code, out, err = rover("check", CONFIG / f"{name}.yaml")
    assert code == 0, err
    assert out


def test_this_computer(rover):
    code, out, _ = rover("check")
    assert code == 0
    assert out.startswith("rover")


def test_what_a_driver_of_ones_own_declares_is_read_and_the_driver_is_not(rover, tmp_path, monkeypatch):
    monkeypatch.setattr(driver_keys, "_folders", [])
    (tmp_path / "sonar.py").write_text("raise SystemExit('imported')\n")
    (tmp_path / "sonar.keys.yaml").write_text("keys: {Sonar: {gain: {kind: number, default: 1, about: Of its ear.}}}\n")
    robot = (CONFIG / "cart.yaml").read_text().replace("range: {driver: simulated", "range: {driver: 'sonar:Sonar'")
    (tmp_path / "robot.yaml").write_text(robot)
    code, out, err = rover("check", tmp_path / "robot.yaml", "--drivers", tmp_path)
    assert (code, err) == (0, "")
    assert out.splitlines()[1] == "would load sonar:Sonar (not loaded by this check; keys by sonar.keys.yaml)"
    (tmp_path / "robot.yaml").write_text(robot.replace("'sonar:Sonar'", "'sonar:Sonar', gian: 2"))
    code, _, err = rover("check", tmp_path / "robot.yaml", "--drivers", tmp_path)
    assert code == 2
    assert "'gian': unknown key; did you mean 'gain'?" in err


def test_without_its_folder_a_driver_of_ones_own_is_taken_as_it_is_written(rover, tmp_path):
    robot = (CONFIG / "cart.yaml").read_text()
    own = robot.replace("range: {driver: simulated", "range: {driver: 'nowhere:Sonar', gian: 2")
    (tmp_path / "robot.yaml").write_text(own)
    code, out, _ = rover("check", tmp_path / "robot.yaml")
    assert code == 0
    assert "nowhere:Sonar (not loaded by this check; keys taken as written, for nothing declares them)" in out


ROBOT = """
robot: Under test
body: {wheel_diameter: 72 mm, track: 240 mm, counts_per_rev: 1320, gripper_reach: 16 cm}
devices:
  drive: {driver: simulated}
  counts: {driver: simulated}
  range: {driver: "broken_drivers:NewestFirst", rate: 10 Hz}
  gripper: {driver: "broken_drivers:Jaws"}
"""


class TestADriver:
    """In a process of its own: its code is a person's, and stays imported."""

    @pytest.fixture
    def checked(self, tmp_path):
        (tmp_path / "robot.yaml").write_text(ROBOT)

        def run(*arguments, typed=""):
            drivers = Path(__file__).parents[1] / "testing"
            command = [sys.executable, "-m", "rover", "check", *arguments, "--drivers", drivers]
            ended = subprocess.run(command, cwd=tmp_path, input=typed, capture_output=True, text=True, timeout=120)
            return ended.returncode, ended.stdout, ended.stderr

        return run

    def test_what_it_does_wrong_is_told_with_the_reason(self, checked):
        code, out, err = checked("robot.yaml", "--driver", "broken_drivers:NewestFirst")
        assert code == 1, err
        assert err == "loading broken_drivers:NewestFirst\n"
        assert out.startswith("range: broken_drivers:NewestFirst\n  ok         it is made\n")
        (wrong,) = out.split("NOT OK")[1:]
        assert wrong.startswith("     readings are in order\n             a reading was taken 1e-06 s before the one")
        assert "Speeds and windows of time are worked out from one to the next." in wrong
        assert "apply" not in out

    def test_one_that_reports_nothing_is_told_so_once(self, checked, tmp_path):
        (tmp_path / "robot.yaml").write_text(ROBOT.replace("NewestFirst", "Silent"))
        code, out, _ = checked("robot.yaml", "--driver", "broken_drivers:Silent")
        assert (code, out.count("NOT OK"), out.count("nothing was reported")) == (1, 1, 1)

    def test_without_a_robot_file_the_device_is_guessed(self, checked):
        code, out, _ = checked("--driver", "broken_drivers:Pressed")
        assert (code, out.count("ok "), out.splitlines()[0]) == (0, 12, "device: broken_drivers:Pressed")

    def test_what_moves_is_asked_for_first(self, checked):
        code, out, err = checked("robot.yaml", "--driver", "broken_drivers:Jaws", typed="no\n")
        assert (code, out) == (2, "")
        assert err.endswith("nothing was moved; put the robot on a stand first\n")
        code, out, err = checked("robot.yaml", "--driver", "broken_drivers:Jaws", "--yes-to-all")
        assert code == 0, out
        assert "not tried  expired commands change nothing\n             nobody sees here" in out

    @pytest.mark.parametrize(
        ("arguments", "told"),
        [
            (["robot.yaml", "--driver", "broken_drivers:Jawz"], "did you mean 'broken_drivers:Jaws'?"),
            (
                ["--driver", "broken_drivers:Jaws"],
                "is commanded, and what it moves moves; name the robot",
            ),
            (
                ["--driver", "broken_drivers:NeedsAKey"],
                "raised KeyError: 'pin'; if it needs keys of its own, name",
            ),
            (["--driver", "nowhere:Bumper"], "driver: cannot import 'nowhere'"),
            (["--driver", "broken_drivers:Bumpr"], "has no class 'Bumpr'"),
            (["--driver", "echo_pins"], "'echo_pins' is not of the form package.module:Class"),
            (["nowhere.yaml", "--driver", "broken_drivers:Jaws"], "there is no such file"),
        ],
    )
    def test_what_cannot_be_tried_is_told(self, checked, arguments, told):
        code, out, err = checked(*arguments)
        assert (code, out) == (2, "")
        assert told in err
        assert "Traceback" not in err
