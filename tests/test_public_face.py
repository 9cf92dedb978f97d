"""What a person's own code imports from `rover`: the names are those of the page, and its example works."""

import ast
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

import rover
from rover import Result, UserError, rehearse

ROOT = Path(__file__).parents[1]
PAGE = (ROOT / "DEVELOPERS.md").read_text("utf-8")
OFFERED = sorted(name for names in rover._OFFERED.values() for name in names)
RECTANGLE = ROOT / "config/rectangle.yaml"


def test_every_name_is_there_and_told_of_and_no_other():
    section = PAGE.split("## Your own driver, activity or test\n")[1].split("\n## ")[0]
    rows = re.findall(r"^\| (`.*?) \|", section, re.MULTILINE)
    assert sorted(name for row in rows for name in re.findall(r"`(\w+)`", row)) == OFFERED
    assert set(dir(rover)) >= set(OFFERED)
    assert all(getattr(rover, name) is not None for name in OFFERED)


def test_type_checkers_see_the_same_names_from_the_same_modules():
    (block,) = (node for node in ast.parse(Path(rover.__file__).read_text("utf-8")).body if isinstance(node, ast.If))
    seen = {(node.module, name.name, name.asname) for node in block.body for name in node.names}
    assert seen == {(f"rover.{module}", name, name) for module, names in rover._OFFERED.items() for name in names}


def test_another_name_is_not_there():
    with pytest.raises(AttributeError, match="module 'rover' has no attribute 'Bench'"):
        _ = rover.Bench


@pytest.fixture(scope="module")
def my_project(tmp_path_factory):
    """The files of the page's section, each under the name that its first line says."""
    folder = tmp_path_factory.mktemp("mine")
    section = PAGE.split("## Your own driver, activity or test\n")[1].split("\n## ")[0]
    for text in re.findall(r"^```\w+\n(# .*?)^```$", section, re.MULTILINE | re.DOTALL):
        file = folder / text.split()[1]
        file.parent.mkdir(exist_ok=True)
        file.write_text(text, encoding="utf-8")
    return folder


def ran(my_project, *command):
    return subprocess.run(
        [sys.executable, *command],
        cwd=my_project,
        env=os.environ | {"PYTHONPATH": f"{ROOT}:{my_project}", "PYTHONDONTWRITEBYTECODE": "1"},
        capture_output=True,
        text=True,
        timeout=120,
    )


def test_the_pages_tests_pass(my_project):
    ended = ran(my_project, "-m", "pytest", "-q", "-p", "no:cacheprovider", "test_my_lab.py")
    assert ended.returncode == 0, ended.stdout


def test_the_pages_commands_do_what_it_says(my_project):
    assert ran(my_project, "-m", "rover", "check", "config/nudge.yaml").returncode == 0
    rehearsed = ran(my_project, "-m", "rover", "rehearse", "config/nudge.yaml", "--drivers", ".")
    assert (rehearsed.returncode, rehearsed.stdout[:12]) == (0, "done (there)"), rehearsed.stderr


class TestRehearse:
    def test_it_returns_what_came_of_it_and_leaves_nothing_behind(self, tmp_path, monkeypatch):
        monkeypatch.chdir(tmp_path)
        path = list(sys.path)
        result = rehearse(RECTANGLE, settings={"long_side": "50 cm"})
        assert isinstance(result, Result)
        assert (result.result, result.record) == ("done", "")
        assert list(tmp_path.iterdir()) == []
        assert sys.path == path

    def test_one_seed_gives_one_run(self):
        first, same, other = (rehearse(RECTANGLE, seed=seed) for seed in (5, 5, 6))
        assert (first.steps, first.robot_time_s) == (same.steps, same.robot_time_s)
        assert first.steps != other.steps

    def test_the_record_is_kept_where_one_is_wanted(self, tmp_path):
        record = tmp_path / "run.sqlite"
        assert rehearse(RECTANGLE, record=record).record == str(record)
        assert record.is_file()

    def test_mistakes_are_raised_in_words(self, tmp_path):
        with pytest.raises(UserError, match="there is no such file"):
            rehearse(tmp_path / "nothing.yaml")
        with pytest.raises(UserError, match="did you mean 'long_side'"):
            rehearse(RECTANGLE, settings={"longside": "50 cm"})
