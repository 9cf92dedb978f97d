"""`rover new` starts a project that is sound from its first minute, and loses nothing."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from rover.files.driver_keys import look_in
from rover.project.files import files_of
from rover.project.questions import LIDS, QUESTIONS, answer
from rover.readiness.files import check_file

ROOT = Path(__file__).parents[2]
USUAL = {one.name: one.usual for one in QUESTIONS}


def new(*arguments: str, typed: str = "") -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "rover", "new", *arguments],
        input=typed,
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )


def written(folder: Path, **answers: str) -> Path:
    for path, text in files_of(USUAL | answers).items():
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_text(text, encoding="utf-8")
    look_in([folder])
    return folder / "config/errand.yaml"


def test_the_usual_answers_make_a_project_whose_own_tests_pass(tmp_path):
    """They try the driver, rehearse the errand in the light and in the dark; so the activity is rehearsed too."""
    said = new(str(tmp_path / "mine"), "--yes", "--lids", "teal")
    assert said.returncode == 0, said.stderr
    assert "what to do next" in said.stdout
    tests = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider"],
        cwd=tmp_path / "mine",
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert tests.returncode == 0, tests.stdout


@pytest.mark.parametrize(
    ("motors", "heading", "range_finder", "switch"),
    [
        ("board", "no", "no", "no"),
        ("board", "yes", "no", "yes"),
        ("pins", "yes", "yes", "yes"),
        ("pins", "no", "yes", "no"),
        ("pins", "no", "no", "no"),
    ],
)
def test_any_robot_makes_a_project_without_a_mistake(motors, heading, range_finder, switch, tmp_path):
    errand = written(tmp_path, motors=motors, heading=heading, range=range_finder, switch=switch, lids=", ".join(LIDS))
    assert check_file(errand).warnings == ()


def test_a_camera_may_be_on_the_network_and_a_field_without_walls(tmp_path):
    errand = written(tmp_path, camera="http://10.0.0.7:8080/stream", walled="no", field="9 ft x 300 cm")
    assert check_file(errand).warnings == ()


def test_it_asks_about_the_robot_in_plain_words_and_again_where_an_answer_cannot_be(tmp_path):
    others = [one for one in QUESTIONS if one.name not in ("name", "wheel")]
    said = new(
        str(tmp_path), *(f"--{one.name.replace('_', '-')}={one.usual}" for one in others), typed="Ann's\n72\n7 cm\n"
    )
    assert said.returncode == 0, said.stderr
    assert "What is the robot called? [My cart]" in said.stderr
    assert "wheel: '72': a bare number where a length is due" in said.stderr
    robot = (tmp_path / "config/robot.yaml").read_text("utf-8")
    assert 'robot: "Ann\'s"' in robot
    assert "wheel_diameter: 7 cm" in robot


def test_enter_takes_what_is_in_brackets(tmp_path):
    said = new(str(tmp_path), typed="\n" * len(QUESTIONS))
    assert said.returncode == 0, said.stderr
    assert {path.relative_to(tmp_path) for path in tmp_path.rglob("*") if path.is_file()} == set(files_of(USUAL))


def test_where_nobody_answers_nothing_is_written(tmp_path):
    said = new(str(tmp_path / "mine"), typed="My cart\n")
    assert said.returncode == 2
    assert "take what is in brackets with --yes" in said.stderr
    assert not (tmp_path / "mine").exists()


def test_what_is_there_is_not_touched(rover, tmp_path):
    (tmp_path / "diary").write_text("mine", encoding="utf-8")
    code, _, said = rover("new", tmp_path, "--yes")
    assert (code, "there is something in this folder" in said) == (2, True)
    assert [path.name for path in tmp_path.iterdir()] == ["diary"]
    assert "this is a file" in rover("new", tmp_path / "diary", "--yes")[2]


@pytest.mark.parametrize(
    ("option", "why"),
    [
        ("--wheel=72", "wheel: '72': a bare number where a length is due"),
        ("--track=-1 m", "track: '-1 m': more than zero is due here"),
        ("--motors=bord", "motors: 'bord': one of board, pins is due here"),
        ("--lids=pink", "lids: 'pink': one of red, amber"),
        ("--field=4 m", "field: '4 m': two sides are due here, such as 4 m x 3 m"),
        ('--name=A "cart"', "neither quotes nor backslashes here"),
        ("--port=/dev/tty USB0", "a path or an address is due here"),
    ],
)
def test_an_option_that_cannot_be_is_refused_in_a_line(option, why, rover, tmp_path):
    code, output, said = rover("new", "mine", "--yes", option)
    assert (code, output) == (2, "")
    assert why in said
    assert len(said.splitlines()) == 1
    assert not (tmp_path / "mine").exists()


def test_answers_that_make_nothing_that_works_are_refused_by_their_place_in_the_files(rover, tmp_path):
    code, _, said = rover("new", "mine", "--yes", "--wheel=125 m")
    assert code == 2
    assert "mine/config/robot.yaml:5:19: '125 m'" in said
    assert not (tmp_path / "mine").exists()


def test_every_usual_answer_can_be_given():
    assert {one.name: answer(one, one.usual) for one in QUESTIONS} == USUAL
