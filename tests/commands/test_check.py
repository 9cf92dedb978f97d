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
    assert out.splitlines()[1:] == ["would load sonar:Sonar (not loaded by this check; keys by sonar.keys.yaml)"]
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
