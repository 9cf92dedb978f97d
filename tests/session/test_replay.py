"""A replay decides what the record says was decided; where not, the first difference is found, with its cause."""

import json
import math
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from rover.events import Health, HealthChange
from rover.files.given import Given
from rover.files.problems import FileProblems
from rover.record.reader import read
from rover.record.run import Gap, RecordError
from rover.session.assembly import with_user_activities
from rover.session.on_bench import Rehearsal
from rover.session.recorded_errand import recorded_errand
from rover.session.recorder import RECORD
from rover.session.replay import FROM_BENCH, FROM_READINGS

from .replaying import ROOT, SHORT, rehearsed, replayed


def change(path, *statements):
    """Change what a record says."""
    with closing(sqlite3.connect(path)) as record, record:
        for one in statements:
            record.execute(one) if isinstance(one, str) else record.execute(*one)


@pytest.fixture(scope="module")
def original(tmp_path_factory):
    return rehearsed(tmp_path_factory.mktemp("replay") / "run.sqlite", with_readings=True)


@pytest.fixture
def record(original, tmp_path):
    """A record of its own of a short run with its readings."""
    return Path(shutil.copy(original, tmp_path))


FAULTY = ("at 2 s: heading silent for 2 s", "at 5 s: battery silent for 1 s", "at 6 s: counts jump by 500")


@pytest.mark.parametrize(
    ("how", "source"),
    [
        ({}, FROM_BENCH),
        ({"with_readings": True}, FROM_READINGS),
        ({"given": Given({"bench.floor.slip": "5 %"}, ("at 2 s: heading silent for 2 s",))}, FROM_BENCH),
        ({"given": Given({}, ("at 3 s: stop pressed",)), "with_readings": True}, FROM_READINGS),
        ({"without": "slip_gate", "seed": 3}, FROM_BENCH),
        ({"without": "cross_checks", "with_readings": True}, FROM_READINGS),
    ],
)
def test_a_rehearsal_replays_to_the_last_bit(tmp_path, how, source):
    found = replayed(rehearsed(tmp_path / "run.sqlite", **how))
    assert (found.difference, found.rounding.numbers, found.source) == (None, 0, source)
    assert found.compared["events"] > 3
    assert found.compared["places"] == len(found.run.track)
    assert found.compared.get("commands") == (found.steps if source == FROM_READINGS else None)


def test_the_record_is_enough_wherever_it_lies(tmp_path, monkeypatch):
    """Robot and behaviour are links elsewhere; all files are gone by the time of the replay."""
    for part in ("config", "behaviours"):
        shutil.copytree(ROOT / part, tmp_path / "field" / part)
    (tmp_path / "field/pyproject.toml").touch()
    carts = tmp_path / "field/carts"
    carts.mkdir()
    (tmp_path / "field/config/cart.yaml").rename(carts / "blue.yaml")
    (tmp_path / "field/config/cart.yaml").symlink_to(carts / "blue.yaml")
    monkeypatch.chdir(tmp_path / "field")
    path = rehearsed(tmp_path / "run.sqlite", Path("config/rectangle.yaml"))
    assert "carts/blue.yaml" in "".join(read(path).header)
    monkeypatch.chdir("/")
    shutil.rmtree(tmp_path / "field")
    assert replayed(path).difference is None


ROW = "rowid = (SELECT min(rowid) FROM {0} WHERE at_ns > 4000000000 AND {1})"


@pytest.mark.parametrize(
    ("what", "statement", "table", "where"),
    [
        ("events", "UPDATE state_changes SET exit_taken = 'after 3 s'", "state_changes", "1"),
        ("events", "UPDATE state_changes SET at_ns = at_ns - 20000000", "state_changes", "1"),
        ("events", "DELETE FROM state_changes", "state_changes", "1"),
        ("commands", "UPDATE readings SET value = '[0.5,0.5,null]'", "readings", "device = 'commands'"),
        ("places", "UPDATE track SET x = x + 0.001", "track", "1"),
    ],
)
def test_the_first_step_that_differs_is_found(record, what, statement, table, where):
    row = ROW.format(table, where)
    with closing(sqlite3.connect(record)) as opened:
        ((at_ns,),) = opened.execute(f"SELECT at_ns FROM {table} WHERE {row}")
    change(record, f"{statement} WHERE {row}")
    with closing(sqlite3.connect(record)) as opened:
        ((changed_ns,),) = opened.execute(f"SELECT at_ns FROM {table} WHERE {row}") or ((at_ns,),)
    found = replayed(record)
    assert (found.difference.what, found.difference.at_ns) == (what, min(at_ns, changed_ns))
    assert found.difference.step == round(found.difference.at_ns / 20_000_000)
    assert found.causes[-1].startswith("else either the record was altered")


def test_a_reading_that_was_altered_shows_in_what_came_of_it(record):
    at_ns = 5_000_000_000
    change(record, f"UPDATE readings SET value = '[0.4,0.0,3]' WHERE device = 'heading' AND at_ns >= {at_ns}")
    found = replayed(record)
    assert at_ns <= found.difference.at_ns <= at_ns + 500_000_000


def test_only_what_comes_after_a_time_is_looked_at(record):
    change(record, "UPDATE track SET x = 9 WHERE at_ns < 4000000000")
    assert replayed(record).difference.what == "places"
    assert replayed(record, 4.0).difference is None
    with pytest.raises(RecordError, match=r"it lasts [\d.]+ s, and there is nothing from 900 s on"):
        replayed(record, 900.0)


def test_a_gap_is_the_end_of_what_can_be_replayed(record):
    change(
        record,
        "DELETE FROM readings WHERE at_ns BETWEEN 4000000000 AND 6000000000",
        "INSERT INTO gaps VALUES (999, 6000000000, 'readings', 4000000000, 6000000000, 101)",
    )
    found = replayed(record)
    assert found.difference is None
    assert found.gap == Gap("readings", 4_000_000_000, 6_000_000_000, 101)
    assert found.until_s == pytest.approx(3.98)


def test_steps_that_are_missing_without_a_gap_are_a_difference(record):
    change(record, "DELETE FROM readings WHERE at_ns > 4000000000")
    found = replayed(record)
    assert (found.difference.what, found.difference.replayed) == ("events", "no such step")


def test_a_run_that_was_cut_is_replayed_as_far_as_it_was_written(record):
    """What belongs to the very last step may have waited for the commit that never came."""
    change(record, "DELETE FROM outcome")
    for table in ("state_changes", "track", "hold_backs", "notes", "health"):
        change(record, f"DELETE FROM {table} WHERE at_ns > 4000000000")
    change(record, "DELETE FROM readings WHERE at_ns > 4500000000")
    found = replayed(record)
    assert (found.difference, round(found.until_s, 1)) == (None, 4.5)


def test_differences_in_the_last_bit_are_told_from_decisions(record, monkeypatch):
    """As on another processor, whose library rounds the last digit otherwise."""
    right = math.cos
    monkeypatch.setattr(math, "cos", lambda angle: math.nextafter(right(angle), 2.0))
    found = replayed(record)
    assert found.difference is None
    assert found.rounding.numbers > 100
    assert 0.0 < found.rounding.most < 1e-10


def test_a_rounding_that_grows_into_a_decision_is_named_as_its_cause(record, monkeypatch):
    right = math.cos
    monkeypatch.setattr(math, "cos", lambda angle: right(angle) * (1.0 + 3e-7))
    change(record, "UPDATE header SET value = 'some_other, Python 3.99' WHERE key = 'computer'")
    found = replayed(record)
    assert found.difference is not None
    assert "numbers differ in their last digits since" in found.causes[0]


def test_that_the_record_could_not_be_written_is_given_again(tmp_path):
    """The core was told of it, and so the behaviour may have been; seed and bench do not give it again."""

    class Full(Rehearsal):
        def next_step(self):
            given = super().next_step()
            fault = {2_000_000_000: "no room", 3_000_000_000: ""}.get(given.now_ns) if given else None
            return given if fault is None else given._replace(faults=[*given.faults, (RECORD, fault)])

    assembly, activities = with_user_activities(ROOT / "config/rectangle.yaml", SHORT)
    Full(assembly, activities, 1, tmp_path / "run.sqlite").run(lambda *_: None)
    found = replayed(tmp_path / "run.sqlite")
    assert (found.difference, found.source) == (None, FROM_BENCH)
    health = [one.health for one in found.run.events_of(HealthChange) if one.device == RECORD]
    assert health == [Health.FAULTY, Health.OK]


@pytest.mark.parametrize(
    ("key", "value", "message"),
    [
        ("files", "[1", "damaged: its header cannot be read: "),
        ("files", '{"errand": "gone.yaml", "named": {}}', "damaged: its header cannot be read: it lacks the file"),
        ("seed", "x", "damaged: its header cannot be read: "),
        ("drivers", "3", "damaged: its header cannot be read: "),
        ("code", "3", "damaged: its header cannot be read: "),
        ("without", "brakes", "damaged: its header cannot be read: no safeguard is called 'brakes'"),
    ],
)
def test_a_damaged_header_is_one_clear_line(record, key, value, message):
    change(record, ("UPDATE header SET value = ? WHERE key = ?", (value, key)))
    with pytest.raises(RecordError, match=rf"^{record}: {message}") as raised:
        replayed(record)
    assert "\n" not in str(raised.value)


def test_a_file_in_it_that_is_spoilt_is_not_taken_for_the_one_on_the_disk(record):
    name = json.loads(read(record).header["files"])["errand"]
    change(record, ("UPDATE header SET value = replace(value, 'errand:', 'erramd:') WHERE key = ?", (f"file:{name}",)))
    with pytest.raises(FileProblems) as raised:
        replayed(record)
    assert raised.value.__notes__ == [
        f"in {record}, as these files were then: it is damaged, or this version takes them no more"
    ]


@pytest.mark.parametrize(
    ("without", "message"),
    [
        ("seed", "is no errand's record"),
        ("files", "written by an earlier version"),
        ("computer", "damaged: its header cannot be read: it lacks 'computer'"),
    ],
)
def test_what_cannot_be_replayed_says_so(record, without, message):
    change(record, f"DELETE FROM header WHERE key = '{without}'")
    with pytest.raises(RecordError, match=message):
        replayed(record)


def test_a_robots_record_without_a_step(record):
    change(record, "DELETE FROM readings", "UPDATE header SET value = 'robot' WHERE key = 'host'")
    with pytest.raises(RecordError, match="no step was written before it was cut"):
        replayed(record)


def test_a_state_that_was_taken_up_is_taken_up_again(tmp_path, record):
    """What a run on the robot began with stands in its header."""
    state = {"pose": [1.2, 1.0, 0.1], "sigmas": [0.1, 0.1, 0.1], "ledger": None}
    change(record, ("INSERT INTO header VALUES ('resumed', ?)", (json.dumps(state),)))
    with pytest.raises(RecordError, match="the state that the run was taken up from cannot be used"):
        replayed(record)


def test_what_stood_in_for_a_driver_is_known_again(record):
    """Jaws with a driver of a person's own, as a stand-in of a simulation, are told by the core what a stop does."""
    assert not recorded_errand(record, read(record)).robot.devices.gripper.is_own
    drivers = json.dumps({"gripper": "my_world:Gripper", "gone": "my_world:Gone"})
    change(record, ("UPDATE header SET value = ? WHERE key = 'drivers'", (drivers,)))
    assert recorded_errand(record, read(record)).robot.devices.gripper.is_own
