"""Everything an errand names, loaded and checked at once."""

import shutil
import sys
from pathlib import Path

import pytest
import yaml

from rover.activities.registry import ACTIVITIES
from rover.devices.registry import LoadError, allow_folders
from rover.files import yaml_source
from rover.files.problems import FileProblems
from rover.session.assembly import assemble, loads, with_user_activities

ROOT = Path(__file__).parents[2]


class Project:
    """A copy of the project's files in which one value can be changed at a time."""

    def __init__(self, folder):
        self.folder = folder
        for part in ("config", "behaviours"):
            shutil.copytree(ROOT / part, folder / part)
        self.errand = folder / "config/greenhouse.yaml"

    def change(self, name, *keys, value):
        path = self.folder / name
        values = yaml_source.read(path, name).values
        block = values
        for key in keys[:-1]:
            block = block[key]
        block[keys[-1]] = value
        path.write_text(yaml.safe_dump(values, sort_keys=False), encoding="utf-8")


@pytest.fixture
def project(tmp_path):
    return Project(tmp_path)


def problems(path, **overrides):
    with pytest.raises(FileProblems) as found:
        assemble(path, overrides)
    return [str(problem) for problem in found.value.problems]


@pytest.mark.parametrize(("name", "parts"), [("greenhouse", 3), ("rectangle", 0), ("roam", 0), ("patrol", 0)])
def test_the_projects_own_errands_are_right(name, parts):
    made = assemble(ROOT / f"config/{name}.yaml", {})
    assert made.warnings == ()
    assert made.graph.title
    assert len(made.texts) == 4 + parts


def test_mistakes_of_all_files_are_found_at_once(project):
    project.change("config/cart.yaml", "devices", "camera", "driver", value="camera_of_dreams")
    project.change("config/greenhouse.yaml", "settings", value={"longst": "40 min"})
    project.change("behaviours/collect.yaml", "states", "put_off", "does", value="skip_targe")
    found = problems(project.errand)
    for word in ("camera_of_dreams", "longst", "skip_targe"):
        assert any(word in text for text in found)
    assert any("did you mean 'skip_target'" in text for text in found)


def test_a_file_that_is_not_there(project):
    project.change("config/greenhouse.yaml", "files", "bench", value="bey.yaml")
    (found,) = problems(project.errand)
    assert "bey.yaml" in found


def test_a_lid_of_a_colour_that_the_robot_does_not_know(project):
    project.change("config/greenhouse.yaml", "kinds", "teal", "lid", value="pink")
    (found,) = problems(project.errand)
    assert "do not have 'pink' (known: amber, teal, violet)" in found


def test_a_linked_driver_without_a_link(project):
    project.change("config/cart.yaml", "devices", "heading", value={"driver": "co_processor"})
    (found,) = problems(project.errand)
    assert "needs 'link:'" in found


@pytest.mark.parametrize(("name", "value"), [("near", "25 V"), ("nearer", "25 cm"), ("near", 25)])
def test_an_override_that_cannot_be(project, name, value):
    assert problems(project.errand, **{name: value})


def test_an_override_wins_over_the_errand_file(project):
    project.change("config/greenhouse.yaml", "settings", value={"near": "24 cm"})
    approach = assemble(project.errand, {"near": "30 cm"}).graph.states["pick_up/approach"]
    assert approach.parameters["stop_at"].constant == 0.30


NODDING = """
behaviour: Nod
start: nod
states:
  nod: {does: "nodding:Nod", exits: [{when: done or failed, go: over}, {after: 9 s, go: over}]}
  over: {final: done}
"""


class TestAUsersOwnActivity:
    @pytest.fixture
    def nodding(self, project, monkeypatch):
        (project.folder / "behaviours/nod.yaml").write_text(NODDING, encoding="utf-8")
        project.change("config/greenhouse.yaml", "files", "behaviour", value="../behaviours/nod.yaml")
        monkeypatch.setattr(sys, "path", [*sys.path])
        monkeypatch.delitem(sys.modules, "nodding", raising=False)
        return project

    def test_check_imports_nothing(self, nodding):
        made = assemble(nodding.errand, {})
        assert made.user_activities == ("nodding:Nod",)
        assert "nodding:Nod" in loads(made)
        assert "nodding" not in sys.modules

    def test_it_is_imported_from_a_folder_that_was_allowed(self, nodding):
        source = "class Nod:\n    def __init__(self, known, values): ...\n"
        (nodding.folder / "nodding.py").write_text(source, encoding="utf-8")
        allow_folders([nodding.folder])
        _, activities = with_user_activities(nodding.errand, {})
        assert set(activities) == {*ACTIVITIES, "nodding:Nod"}

    def test_that_it_is_loaded_is_said_also_of_one_that_says_what_it_is(self, nodding):
        source = "from rover import Activity, ActivitySpec\n\n\nclass Nod(Activity):\n    spec = ActivitySpec('nod')\n"
        (nodding.folder / "nodding.py").write_text(source, encoding="utf-8")
        allow_folders([nodding.folder])
        made, _ = with_user_activities(nodding.errand, {})
        assert "nodding:Nod" in loads(made)

    def test_otherwise_the_person_is_told_what_to_do(self, nodding):
        with pytest.raises(LoadError, match=r"cannot import 'nodding'.*--drivers"):
            with_user_activities(nodding.errand, {})
