"""`rover survey`: measures typed in; driving is tried in `test_survey_by_hand.py`, marks in `tests/survey`."""

import shutil
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]
TYPED = """0 m, 0 m
4 m
4 m, 0 m
4 m, 300 cm
0 m, 3 m

yes
no
yes
yes
2 m, 60 cm, 0 deg
10 cm, 10 cm, 90 cm, 90 cm
5 cm, 50 cm
3 m, 2 m, 90 deg

"""


def survey(folder: Path, typed: str, *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "rover", "survey", "cart.yaml", "--errand", "floor.yaml", *arguments],
        cwd=folder,
        input=typed,
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )


def test_what_a_tape_measured_is_typed_in_and_makes_an_errand_that_check_passes(tmp_path):
    shutil.copy(ROOT / "config/cart.yaml", tmp_path)
    said = survey(tmp_path, TYPED, "--type-in")
    assert said.returncode == 0, said.stderr
    assert "2 values are due here, with commas between" in said.stderr
    assert said.stdout.endswith("rover check floor.yaml: nothing wrong with it\n")
    text = (tmp_path / "floor.yaml").read_text("utf-8")
    assert "    wall_3: [[4 m, 3 m], [0 m, 3 m]]\n" in text
    assert "  zone: {x: 0.5 m, y: 0.5 m, width: 0.8 m, depth: 0.8 m, marker: [0.05 m, 0.5 m]}\n" in text
    again = survey(tmp_path, TYPED.replace("3 m, 2 m", "3 m, 1 m"), "--type-in")
    assert "as it was: floor.yaml.bak" in again.stdout
    assert (tmp_path / "floor.yaml.bak").read_text("utf-8") == text


def test_what_cannot_work_is_written_and_said(tmp_path):
    """The tray lies outside the boundary."""
    shutil.copy(ROOT / "config/cart.yaml", tmp_path)
    said = survey(tmp_path, TYPED.replace("10 cm, 10 cm, 90 cm, 90 cm", "5 m, 5 m, 6 m, 6 m"), "--type-in")
    assert said.returncode == 2
    assert "floor.yaml is written; this is left to put right in it" in said.stderr
    assert (tmp_path / "floor.yaml").exists()


def test_where_answers_end_nothing_is_written(tmp_path):
    shutil.copy(ROOT / "config/cart.yaml", tmp_path)
    said = survey(tmp_path, "0 m, 0 m\n", "--type-in")
    assert (said.returncode, [path.name for path in tmp_path.iterdir()]) == (2, ["cart.yaml"])


def test_without_a_terminal_nobody_can_drive(tmp_path):
    shutil.copy(ROOT / "config/cart.yaml", tmp_path)
    said = survey(tmp_path, "")
    assert (said.returncode, "at no terminal, take --type-in" in said.stderr) == (2, True)
