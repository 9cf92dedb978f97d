"""Records are whole: from the header alone, the errand can be put together again as it was."""

import json
import shutil
from pathlib import Path

import pytest

from rover.activities.registry import ACTIVITIES
from rover.record.reader import read
from rover.session.assembly import assemble
from rover.session.on_bench import Rehearsal

ROOT = Path(__file__).parents[2]
FILES = {
    "wait.yaml": """\
behaviour: Wait
settings: {span: 2 s}
start: wait
states:
  wait: {from: parts/wait.yaml, with: {span: settings.span}, exits: [{when: done, go: over}, {after: 9 s, go: over}]}
  over: {final: done}
""",
    "parts/wait.yaml": """\
behaviour: Wait a little
settings: {span: 1 s}
start: inner
states:
  inner: {from: inner.yaml, with: {span: settings.span}, exits: [{when: done, go: over}, {after: 9 s, go: over}]}
  over: {final: done}
""",
    "parts/inner.yaml": """\
behaviour: Stand still
settings: {span: 1 s}
start: still
states:
  still: {does: stand_still, exits: [{after: settings.span, go: over}]}
  over: {final: done}
""",
}
USED = {"config/errand.yaml", "config/cart.yaml", "config/empty.yaml", *(f"behaviours/{name}" for name in FILES)}


@pytest.fixture
def project(tmp_path, monkeypatch):
    """A project whose behaviour has a part within a part."""
    shutil.copytree(ROOT / "config", tmp_path / "config")
    (tmp_path / "behaviours/parts").mkdir(parents=True)
    for name, text in FILES.items():
        (tmp_path / "behaviours" / name).write_text(text)
    errand = (ROOT / "config/rectangle.yaml").read_text().replace("rectangle.yaml", "wait.yaml")
    (tmp_path / "config/errand.yaml").write_text(errand.partition("settings:")[0])
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_every_file_and_setting_that_was_used_is_in_the_record(project):
    made = assemble(project / "config/errand.yaml", {"span": "400 ms"})
    first = Rehearsal(made, ACTIVITIES, 3, project / "run.sqlite").run(lambda *_: None)
    header = read(project / "run.sqlite").header
    texts = {key.removeprefix("file:"): text for key, text in header.items() if key.startswith("file:")}
    assert texts.keys() == USED
    assert all(text == (project / name).read_text() for name, text in texts.items())
    assert (json.loads(header["settings"]), header["seed"]) == ({"span": "400 ms"}, "3")

    for name, text in texts.items():
        path = project / "again" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)
    made = assemble(project / "again/config/errand.yaml", json.loads(header["settings"]))
    again = Rehearsal(made, ACTIVITIES, int(header["seed"]), project / "again.sqlite").run(lambda *_: None)
    assert (again.result, again.steps) == (first.result, first.steps) == ("done", first.steps)
    assert first.robot_time_s == pytest.approx(0.46, abs=0.1)


def test_what_a_plan_is_drawn_with_is_in_the_record(project):
    """Places, north, lids' colours and the allowance, and what the bench has besides the map."""
    (project / "config/errand.yaml").write_text(
        (project / "config/greenhouse.yaml")
        .read_text()
        .replace("collect.yaml", "wait.yaml")
        .replace("  north: 90 deg\n", "  north: 90 deg\n  places: {door: {x: 3 m, y: 2 m}}\n")
    )
    bay = project / "config/bay.yaml"
    bay.write_text(f"{bay.read_text()}\nobstacles: [{{x: 3 m, y: 3 m, radius: 6 cm}}]\n")
    made = assemble(project / "config/errand.yaml", {})
    Rehearsal(made, ACTIVITIES, 3, project / "run.sqlite").run(lambda *_: None)
    run = read(project / "run.sqlite")
    header = run.header

    assert run.outcome.summary["overlooked"]["side"] == 0.25
    assert [5.125, 3.125] in run.outcome.summary["overlooked"]["squares"]
    field = json.loads(header["field"])
    assert (field["places"], field["north"]) == ({"door": [3.0, 2.0, None]}, pytest.approx(1.5708, abs=1e-4))
    assert field["off_the_map"]["posts"] == [[3.0, 3.0, 0.06]]
    assert json.loads(header["kinds"])["teal"] == {"width": 0.05, "hue": [82, 98], "saturation": [80, 255]}
    assert float(header["allowance"]) == 0.1
