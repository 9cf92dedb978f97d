"""The errand's state on disk."""

import json
import os

import pytest

from rover.session.saved_state import StateError, StateKeeper, newest, path_beside, read, write_atomically

CORE = {"pose": [1.0, 2.0, 0.5], "ledger": {"delivered": ["amber"]}}


def kept(path, core=CORE, ended="", errand="Bring the jars in"):
    keeper = StateKeeper(path, errand)
    keeper.keep({"pose": "older"})
    keeper.keep(core, ended)
    keeper.close()
    assert keeper.trouble == ""


def test_the_newest_state_is_read_back(tmp_path):
    path = path_beside(tmp_path / "run.sqlite")
    kept(path)
    assert read(path, "Bring the jars in") == CORE
    assert [one.name for one in tmp_path.iterdir()] == ["run.state.json"]


def test_a_disk_that_does_not_take_it_is_told_and_the_old_state_stays(tmp_path):
    path = tmp_path / "run.state.json"
    kept(path)
    (tmp_path / "run.state.json.new").mkdir()
    keeper = StateKeeper(path, "Bring the jars in")
    keeper.keep({"pose": "newer"})
    keeper.close()
    assert "could not be saved" in keeper.trouble
    assert read(path, "Bring the jars in") == CORE


def test_the_old_file_is_replaced_and_not_written_into(tmp_path):
    path = tmp_path / "state"
    path.write_text("old")
    with path.open() as old:
        write_atomically(path, "new")
        assert (old.read(), path.read_text()) == ("old", "new")


def test_no_half_written_file_ever_bears_the_name(tmp_path, monkeypatch):
    """Power goes while it is written."""
    path = tmp_path / "state"
    path.write_text("old")

    def power_goes(descriptor):
        raise KeyboardInterrupt

    monkeypatch.setattr("rover.session.saved_state.os.fsync", power_goes)
    with pytest.raises(KeyboardInterrupt):
        write_atomically(path, "new" * 1000)
    assert path.read_text() == "old"


def test_the_newest_of_an_errand_is_found(tmp_path):
    for name in ("jars-seed1-1.state.json", "jars-seed1-2.state.json", "patrol-seed1-3.state.json"):
        (tmp_path / name).write_text("{}")
    times = {"jars-seed1-1.state.json": 2_000_000_000, "jars-seed1-2.state.json": 1_000_000_000}
    for name, seconds in times.items():
        os.utime(tmp_path / name, (seconds, seconds))
    assert newest(tmp_path, tmp_path / "jars.yaml").name == "jars-seed1-1.state.json"


def test_without_one_it_says_so(tmp_path):
    with pytest.raises(StateError, match="no saved state of"):
        newest(tmp_path, tmp_path / "jars.yaml")


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("errand: Bring", "not the saved state of a run"),
        ("[1]", "not the saved state of a run"),
        (json.dumps({"version": 9, "errand": "A", "ended": "", "core": {}}), "saved by another release"),
        (json.dumps({"version": 2, "errand": "B", "ended": "", "core": {}}), "the state of another errand, 'B'"),
        (json.dumps({"version": 2, "errand": "A", "ended": "done", "core": {}}), "that run was done"),
    ],
)
def test_what_cannot_be_taken_up_is_told(tmp_path, text, why):
    path = tmp_path / "some.state.json"
    path.write_text(text)
    with pytest.raises(StateError, match=why):
        read(path, "A")


def test_a_file_that_is_not_there(tmp_path):
    with pytest.raises(StateError, match="No such file"):
        read(tmp_path / "lost.state.json", "A")
