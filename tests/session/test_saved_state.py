"""The errand's state on disk."""

import json
import math
import os
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rover.activities.registry import ACTIVITIES
from rover.core import Core
from rover.errand.saving import StateMismatchError, restore, saved
from rover.files.errand import Errand
from rover.session.assembly import assemble
from rover.session.saved_state import StateError, StateKeeper, newest, path_beside, read, write_atomically

LET_GO = [2, ["teal", 2.5, 2.0, 4e-4, 1e-5, 4e-4], [2.4, 1.9], [1.5, 1.0]]
START = {"x": "1 m", "y": "1 m", "heading": "0 deg"}
LEDGER = {
    "finds": 2,
    "delivered": ["amber"],
    "seen": 1,
    "believed": [],
    "filled": [[0, "amber"]],
    "put_off": [["teal", 1.5, 0.5]],
    "let_go": [LET_GO],
    "obstacles": [[2.0, 1.0]],
    "visited_places": 0,
    "to_look_at": [[3, 2], [4, 1]],
}
CORE = {"pose": [1.0, 2.0, 0.5], "sigmas": [0.02, 0.02, 0.05], "ledger": LEDGER}
WHOLE = {"version": 4, "errand": "Bring the jars in", "ended": "", "core": CORE}
ERRAND = Errand.model_validate(
    {
        "errand": "Bring the jars in",
        "files": {"robot": "robot.yaml", "behaviour": "collect.yaml"},
        "field": {"boundary": [["0 m", "0 m"], ["6 m", "0 m"], ["6 m", "4 m"], ["0 m", "4 m"]], "start": START},
        "kinds": {name: {"lid": name, "height": "6 cm", "width": "5 cm"} for name in ("amber", "teal")},
    }
)


def with_ledger(**changed):
    return WHOLE | {"core": {**CORE, "ledger": LEDGER | changed}}


def kept(path, core=CORE, ended="", errand="Bring the jars in"):
    keeper = StateKeeper(path, errand)
    keeper.keep({"pose": "older"})
    keeper.keep(core, ended)
    keeper.close()
    assert keeper.trouble == ""


def test_the_newest_state_is_read_back(tmp_path):
    path = path_beside(tmp_path / "run.sqlite")
    kept(path)
    assert read(path, ERRAND) == CORE
    assert [one.name for one in tmp_path.iterdir()] == ["run.state.json"]


def test_a_disk_that_does_not_take_it_is_told_and_the_old_state_stays(tmp_path):
    path = tmp_path / "run.state.json"
    kept(path)
    (tmp_path / "run.state.json.new").mkdir()
    keeper = StateKeeper(path, "Bring the jars in")
    keeper.keep({"pose": "newer"})
    keeper.close()
    assert "could not be saved" in keeper.trouble
    assert read(path, ERRAND) == CORE


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
        (json.dumps(WHOLE | {"version": 9, "core": {}}), "saved by another release"),
        (json.dumps(WHOLE | {"errand": "B"}), "the state of another errand, 'B'"),
        (json.dumps(WHOLE | {"ended": "done"}), "that run was done"),
        ("", "not the saved state of a run"),
        ("\0" * 100, "not the saved state of a run"),
        ("3", "not the saved state of a run"),
        ("[" * 100_000 + "]" * 100_000, "not the saved state of a run"),
        (json.dumps(WHOLE).replace("0.5]", "NaN]", 1), "not a state that can be taken up: pose"),
        (json.dumps(WHOLE).replace("1.0", "1e300", 1), "not a state that can be taken up: pose"),
        (json.dumps(WHOLE).replace("1.0", "9" * 500, 1), "not a state that can be taken up: pose"),
        (json.dumps(WHOLE).replace("0.05", "-0.05", 1), r"not a state that can be taken up: sigmas\[2\]"),
        (json.dumps(WHOLE | {"core": 3}), "not a state that can be taken up"),
        (json.dumps(WHOLE | {"core": {**CORE, "ledger": []}}), "not a state that can be taken up: ledger"),
        (json.dumps(WHOLE | {"core": {**CORE, "more": 1}}), "not a state that can be taken up: more"),
        (json.dumps(with_ledger(filled=[[-1, "amber"]])), r"ledger.filled\[0\]\[0\]"),
        (json.dumps(with_ledger(filled=[["0", "amber"]])), r"ledger.filled\[0\]\[0\]"),
        (json.dumps(with_ledger(filled=[[0, "amber"], [0, "amber"]])), "it has two objects in one slot"),
        (json.dumps(with_ledger(finds=True)), "ledger.finds"),
        (json.dumps(with_ledger(to_look_at=[[1, 10**9]])), r"ledger.to_look_at\[0\]\[1\]"),
        (json.dumps(with_ledger(put_off=[["violet", 1.0, 1.0]])), "it has objects of kind 'violet'"),
        (json.dumps(with_ledger(delivered=["teal", "amber"])), "2 objects delivered in 1 slots"),
        (json.dumps(with_ledger(believed=["teal"])), "2 objects delivered in 1 slots"),
        (json.dumps(with_ledger(seen=2)), "2 objects seen in the tray and 1 delivered"),
        (json.dumps(with_ledger(let_go=[[2, LET_GO[1], [2.4], [1.5, 1.0]]])), r"ledger.let_go\[0\]\[2\]"),
        (
            json.dumps(with_ledger(let_go=[[2, ["violet", *LET_GO[1][1:]], *LET_GO[2:]]])),
            "it has objects of kind 'violet'",
        ),
        (json.dumps(WHOLE | {"version": 3}), "saved by another release .layout 3, this one reads 4.; start afresh"),
        (json.dumps(WHOLE | {"core": {**CORE, "pose": [900.0, 2.0, 0.0]}}), "x 900 m, y 2 m, is far outside the field"),
    ],
)
def test_what_cannot_be_taken_up_is_told(tmp_path, text, why):
    path = tmp_path / "some.state.json"
    path.write_text(text)
    with pytest.raises(StateError, match=why) as raised:
        read(path, ERRAND)
    assert len(str(raised.value).splitlines()) == 1


def test_a_file_that_is_not_there(tmp_path):
    with pytest.raises(StateError, match="No such file"):
        read(tmp_path / "lost.state.json", ERRAND)


@pytest.mark.parametrize(
    ("make", "why"),
    [
        (lambda path: path.mkdir(), "not a file"),
        (lambda path: path.symlink_to(path), "is a loop of links"),
        (lambda path: path.symlink_to("/dev/zero"), "not a file"),
        (os.mkfifo, "not a file"),
        (lambda path: path.write_bytes(b" " * 21_000_000), "too large"),
        (lambda path: path.write_bytes(b"\xff\xfe"), "not the saved state of a run"),
    ],
    ids=["a folder", "a loop of links", "an endless device", "a pipe", "too large", "no text"],
)
def test_what_is_no_file_of_ours_is_named(tmp_path, make, why):
    path = tmp_path / "x.state.json"
    make(path)
    with pytest.raises(StateError, match=why):
        read(path, ERRAND)


ODD = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.floats(),
    st.text(max_size=5),
    st.sampled_from([1e300, -1.0, 10**400, [], {}, [[[[]]]], {"a": [1]}]),
)


def places_in(value, at=()):
    """Return the ways to all parts of a value."""
    parts = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    return [at, *(place for key, part in parts for place in places_in(part, (*at, key)))]


GREENHOUSE = assemble(Path(__file__).parents[2] / "config/greenhouse.yaml", {})
REAL = Core(GREENHOUSE.robot, GREENHOUSE.errand, GREENHOUSE.graph, ACTIVITIES, 1)
restore(REAL.known.ledger, LEDGER | {"filled": [[0, "amber"], [1, "violet"]], "delivered": ["amber", "violet"]})
SAVED = {
    "version": 4,
    "errand": GREENHOUSE.errand.errand,
    "ended": "stopped",
    "core": REAL.saved(REAL.track_point()),
}
"""As a real run leaves it, two jars delivered."""


@st.composite
def mutated(draw):
    """A real state in which some parts were replaced, left out or doubled."""
    whole = {"": json.loads(json.dumps(SAVED))}
    for _ in range(draw(st.integers(1, 3))):
        places = [place for place in places_in(whole) if place]
        if not places:
            break
        *above, last = draw(st.sampled_from(places))
        part = whole
        for key in above:
            part = part[key]
        how = draw(st.sampled_from(["replace", "leave out", "double"]))
        if how == "replace" or not above:
            part[last] = draw(ODD)
        elif how == "leave out":
            del part[last]
        elif isinstance(part, list):
            part.append(part[last])
    return whole[""]


def test_a_real_state_is_taken_up_whole(tmp_path):
    path = tmp_path / "real.state.json"
    path.write_text(json.dumps(SAVED))
    state = read(path, GREENHOUSE.errand)
    core = Core(GREENHOUSE.robot, GREENHOUSE.errand, GREENHOUSE.graph, ACTIVITIES, 1, state)
    assert saved(core.known.ledger) == SAVED["core"]["ledger"]


@given(mutated())
@settings(max_examples=500)
def test_a_mutated_state_is_taken_up_whole_or_refused_in_one_line(tmp_path_factory, whole):
    path = tmp_path_factory.getbasetemp() / "mutated.state.json"
    path.write_text(json.dumps(whole))
    refused = ""
    try:
        state = read(path, GREENHOUSE.errand)
        core = Core(GREENHOUSE.robot, GREENHOUSE.errand, GREENHOUSE.graph, ACTIVITIES, 1, state)
    except (StateError, StateMismatchError) as error:
        refused = str(error)
    if refused:
        assert len(refused.splitlines()) == 1
        return
    again = saved(core.known.ledger)
    assert {**again, "to_look_at": dict(map(tuple, again["to_look_at"]))} == {
        **state["ledger"],
        "to_look_at": dict(map(tuple, state["ledger"]["to_look_at"])),
    }
    assert all(math.isfinite(number) for number in (*core.known.pose, *core.known.filter.sigmas))
