"""With a changed setting or file decisions part at the very step at which they must, and both sides are told."""

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from rover.errors import UserError
from rover.events import StateChange
from rover.files.problems import FileProblems
from rover.record.reader import read
from rover.session.assembly import with_user_activities
from rover.session.on_bench import Rehearsal
from rover.session.parting import partings
from rover.session.recorded_errand import Changes

ROOT = Path(__file__).parents[2]
TOWARDS_A_WALL = """
behaviour: Drive towards a wall
settings: {near: 60 cm, speed: 20 cm/s}
start: on
states:
  on:
    does: run_straight
    with: {length: 3 m, speed: settings.speed}
    exits:
      - {when: range.distance < settings.near, confirm: 2 of 3, go: there}
      - {when: done or failed, go: over}
      - {after: 60 s, go: over}
  there: {final: done}
  over: {final: failed}
"""


@pytest.fixture(scope="module")
def project(tmp_path_factory):
    folder = tmp_path_factory.mktemp("parting")
    for part in ("config", "behaviours"):
        shutil.copytree(ROOT / part, folder / part)
    (folder / "behaviours/rectangle.yaml").write_text(TOWARDS_A_WALL)
    errand = (ROOT / "config/rectangle.yaml").read_text().partition("settings:")[0]
    (folder / "config/rectangle.yaml").write_text(
        errand.replace("start: {x: 1 m", "walls: {east: [[4 m, 0 m], [4 m, 3 m]]}\n  start: {x: 2 m")
    )
    made, activities = with_user_activities(folder / "config/rectangle.yaml", {})
    for name, readings in (("bench", False), ("readings", True)):
        Rehearsal(made, activities, 1, folder / f"{name}.sqlite", with_readings=readings).run(lambda *_: None)
    return folder


@pytest.fixture(params=["bench", "readings"])
def record(project, request):
    return project / f"{request.param}.sqlite"


def parted(record, settings=None, file=None, from_s=0.0):
    return partings(record, Changes(file, settings), from_s, lambda *_: None)


def second_echo_below(project, metres):
    """Return the time of the second of three echoes in a row below a distance."""
    with closing(sqlite3.connect(project / "readings.sqlite")) as opened:
        rows = opened.execute(
            "SELECT at_ns, json_extract(value, '$[0]') FROM readings WHERE device = 'range'"
        ).fetchall()
    below = [distance is not None and distance < metres for _, distance in rows]
    return next(rows[n][0] for n in range(2, len(rows)) if below[n] and sum(below[n - 2 : n + 1]) >= 2)


def test_a_changed_threshold_parts_the_decisions_at_the_very_step(project, record):
    found = parted(record, {"near": "80 cm"})
    at_ns = second_echo_below(project, 0.8)
    assert (found.states.step, found.states.state) == (round(at_ns / 20_000_000), "on")
    assert found.states.at_s == pytest.approx((at_ns - read(record).started_ns) * 1e-9)
    assert found.states.recorded.changes == ()
    (change,) = found.states.changed.changes
    assert (change.entered, change.exit) == ("there", "when range.distance < settings.near confirm 2 of 3")
    part, other = (side.exits[0].parts[0] for side in (found.states.recorded, found.states.changed))
    assert (part.threshold, other.threshold) == pytest.approx((0.6, 0.8))
    assert 0.6 < part.value == other.value < 0.8
    assert (found.commands, found.apart) == (None, ("on", "there"))


def test_a_threshold_that_is_never_reached_leaves_the_recorded_way_out_untaken(record):
    found = parted(record, {"near": "50 cm"})
    assert isinstance(found.states.recorded.changes[0], StateChange)
    assert found.states.changed.changes == ()


def test_commands_that_part_are_told_apart_from_exits(record):
    """What follows from other duties was never met; the counts are held against those that were given in truth."""
    found = parted(record, {"speed": "25 cm/s"})
    assert found.states is None
    assert found.commands.state == "on"
    assert found.commands.recorded.commands.left < found.commands.changed.commands.left
    assert found.commands.recorded.does == "run_straight length 3.0, speed 0.2"


def test_nothing_parts_with_what_was_recorded(record):
    found = parted(record, {"near": "60 cm"})
    assert (found.commands, found.states, found.apart) == (None, None, None)


def test_another_behaviour_or_robot_or_errand_file_takes_the_place_of_the_recorded_one(project, record, tmp_path):
    other = tmp_path / "other.yaml"
    other.write_text(TOWARDS_A_WALL.replace("confirm: 2 of 3", "confirm: 3 of 3"))
    found = parted(record, file=other)
    assert found.states.changed.changes == ()
    assert found.states.changed.exits[0].where == f"{other}:10"

    other.write_text((ROOT / "config/cart.yaml").read_text().replace("wheel_diameter: 72 mm", "wheel_diameter: 80 mm"))
    assert parted(record, file=other).commands is not None

    assert parted(record, file=project / "config/rectangle.yaml").states is None


def test_what_cannot_stand_in_its_place(record, tmp_path):
    with pytest.raises(UserError, match="a bench file decides nothing; name an errand, a behaviour or a robot file"):
        parted(record, file=ROOT / "config/bay.yaml")
    with pytest.raises(FileProblems, match=r"--set: 'naer': .*did you mean 'near'\?"):
        parted(record, {"naer": "1 m"})
    with pytest.raises(FileProblems, match="no such file"):
        parted(record, file=tmp_path / "none.yaml")
