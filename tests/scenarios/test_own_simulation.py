"""A rehearsal on a simulation of a person's own: the worked example of DEVELOPERS.md, as a person would try it."""

import json
import os
import re
import subprocess
import sys

import pytest

from rover.events import Note
from rover.files.problems import FileProblems
from rover.readiness.files import check_file
from rover.record.reader import read

COMMAND = [sys.executable, "-c", "from rover.commands.main import main; main()"]
TWO_JARS = [{"kind": "amber", "x": "2.5 m", "y": "1.3 m"}, {"kind": "teal", "x": "2.3 m", "y": "70 cm"}]
BENCH = {"simulation": "my_world:World", "options": {"top_speed": "60 cm/s"}, "objects": TWO_JARS}


@pytest.fixture
def rehearsed(files, small_bay):
    """Rehearse with the example's class in a process of its own, changed by ``changes`` (text, other text)."""
    page = (small_bay.ROOT / "DEVELOPERS.md").read_text("utf-8")
    example = re.search(r"```python\n(# my_world.py\n.*?)```", page, re.DOTALL)[1]

    def run(*arguments, changes=(), bench=BENCH, robot=None):
        world = example
        for old, new in changes:
            assert old in world
            world = world.replace(old, new)
        folder = files.folder / "mine"
        folder.mkdir(exist_ok=True)
        (folder / "my_world.py").write_text(world, encoding="utf-8")
        errand = files.errand(bench, robot=robot, expect=None)
        return subprocess.run(
            [*COMMAND, "rehearse", str(errand), "--drivers", str(folder), "--json", *arguments],
            cwd=files.folder,
            env=os.environ | {"PYTHONDONTWRITEBYTECODE": "1"},
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
        )

    return run


def record_of(done, files):
    result = json.loads(done.stdout)
    return result, read(files.folder / result["record"])


def test_the_worked_example_delivers_and_knows_the_truth(rehearsed, files):
    done = rehearsed()
    assert done.returncode == 0, done.stderr
    assert "loading my_world:World" in done.stderr
    result, run = record_of(done, files)
    assert (result["result"], result["delivered"], result["truth"]["delivered"], result["objects"]) == ("done", 2, 2, 2)
    assert result["worst_axis_error_m"] < 0.05
    assert sorted((round(one.x, 1), round(one.y, 1)) for one in run.true_finds.values()) == [(2.3, 0.7), (2.5, 1.3)]
    assert [one.place for one in run.final_objects] == ["tray", "tray"]
    assert run.header["host"] == "simulation my_world:World"
    first, last = run.true_track[0], run.true_track[-1]
    assert (first.x, first.y) == (1.5, 1.2)
    assert last.at_ns - first.at_ns == pytest.approx(1e9 * result["robot_time_s"], rel=0.01)
    assert readings_in(files, result) > 10 * result["robot_time_s"]


def readings_in(files, result):
    import sqlite3

    connection = sqlite3.connect(files.folder / result["record"])
    (number,) = connection.execute("SELECT count(*) FROM readings").fetchone()
    connection.close()
    return number


def test_what_it_tells_of_contacts_is_counted(rehearsed, files):
    """A post stands in the world's way that its robot runs through, as it were."""
    told = "return [Contact(None, 0.2)] if 1.6 < self.x < 1.7 else []"
    changes = [
        ("return ()  # no walls, and jars that give way by themselves", told),
        ("import BatteryValue, ", "import BatteryValue, Contact, "),
    ]
    result, run = record_of(rehearsed(changes=changes), files)
    assert result["truth"]["bumps"] >= 1
    assert result["truth"]["fastest_bump_m_s"] == 0.2
    assert all(1.6 < incident.what.x < 1.7 for incident in run.incidents)


def test_a_simulation_that_fails_ends_the_rehearsal_with_one_line_and_a_whole_record(rehearsed, files):
    done = rehearsed(
        changes=[("seconds, self.now_ns =", "assert now_ns < 2e9, 'the floor is gone'\n        seconds, self.now_ns =")]
    )
    assert (done.returncode, done.stdout) == (2, "")
    *_, line = done.stderr.splitlines()
    why = "advance() raised AssertionError: the floor is gone; the run's record has the traceback"
    assert line == f"simulation 'my_world:World': {why}"
    (record,) = (files.folder / "runs").glob("*.sqlite")
    run = read(record)
    assert run.outcome.result == "stopped"
    assert "assert now_ns < 2e9" in "".join(note.text for note in run.events_of(Note))
    assert run.truth.objects == 2


@pytest.mark.parametrize("option", ["--wired", "--rendered"])
def test_what_is_for_the_built_in_bench_only(rehearsed, option):
    done = rehearsed(option)
    assert (done.returncode, done.stdout) == (2, "")
    why = "is for the built-in bench, and the bench file names the simulation 'my_world:World'"
    assert done.stderr.splitlines()[-1] == f"{option} {why}"


def test_a_check_tells_of_it_and_does_not_import_it(files):
    errand = files.errand({**BENCH, "simulation": "nowhere.to_be.found:World"}, expect=None)
    assert "would load nowhere.to_be.found:World (not loaded by this check)" in check_file(errand).lines


@pytest.mark.parametrize(
    ("bench", "why"),
    [
        ({"simulation": "my_world.World"}, "simulation: 'my_world.World': the class is named as package.module:Class"),
        ({"simulation": "my_world:World", "floor": {"slip": "5 %"}}, "floor: this is of the built-in bench; what"),
        ({"simulation": "my_world:World", "faults": ["at 2 s: heading silent"]}, "faults: this is of the built-in"),
        ({"options": {"top_speed": "1 m/s"}}, "options: these are handed to a 'simulation:' of your own, and none"),
        ({"simulaton": "my_world:World"}, "simulaton: unknown key; did you mean 'simulation'"),
        ({**BENCH, "objects": [{**TWO_JARS[0], "kind": "ambr"}]}, "there is no kind 'ambr'"),
    ],
)
def test_a_bench_file_that_is_not_well(files, bench, why):
    with pytest.raises(FileProblems) as caught:
        check_file(files.errand(bench, expect=None))
    assert why.split(": ", 1)[-1] in str(caught.value)
