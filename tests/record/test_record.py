"""The run record: what is written comes back, and what was committed stays."""

import signal
import sqlite3
import subprocess
import sys
import threading
from pathlib import Path
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.awaited import Awaited, Lack, Part
from rover.devices.readings import Detection, Detections, RangeValue, Reading, WheelCounts
from rover.events import (
    SEEN,
    Delivery,
    Diversion,
    Event,
    Find,
    GivenUp,
    Health,
    HealthChange,
    HoldBack,
    Note,
    ObjectEvent,
    StateChange,
    Stop,
    TrackPoint,
)
from rover.record import schema
from rover.record.reader import read
from rover.record.run import (
    FinalObject,
    Gap,
    RecordError,
    RunEnd,
    TrackSample,
    TrueFind,
    TruePose,
)
from rover.record.writer import RunRecord

SECOND = 1_000_000_000
POINT = TrackPoint(0.1, 1 / 3, -3.1, 0.01, 0.02, 0.03, "seek/look")
EVENTS: list[Event] = [
    StateChange("", "seek/look", "start", "collect.yaml:3"),
    StateChange("seek/look", "pick_up", "when target.seen", "collect.yaml:9", {"target.seen": True, "range": 0.25}),
    StateChange(
        *("pick_up/approach", "pick_up/no_luck", "after 30 s", "collect.yaml:40"),
        outcome="failed: the target is gone",
        awaited=(
            Awaited(
                *("when target.distance < 22 cm confirm 3 of 5", "collect.yaml:38", "pick_up/held", "pick_up/approach"),
                holds=None,
                lacks=(Lack("target.distance", "camera", 5 * SECOND),),
                parts=(Part("target.distance < 22 cm", None, None, "<", 0.22, "cm", ("target.distance",)),),
                confirmed=2.0,
                needed=3.0,
                of=5,
            ),
        ),
        diversions=(Diversion("pick_up/approach", 4),),
    ),
    HealthChange("heading", Health.OVERDUE, "no report for 310 ms"),
    HoldBack("obstacle at 0.12 m"),
    HoldBack("obstacle at 0.12 m", ended=True),
    ObjectEvent(2, "amber", "seen", 1.49, 2.5, "in 3 frames, give or take 0.06 m"),
    Find(1, "amber", 1.5, 2.5, 1e-4, -2e-5, 3e-4, object=2),
    Delivery(1, "amber", 4, 0.6, 0.7, 0.98, SEEN, 2, "seen in 3 of 3 frames"),
    GivenUp("teal", 3.0, 1.0, "four tries, not gripped"),
    Note("operator", "hold"),
    Stop("stop input open"),
]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "run.rec"


def query(path: Path, sql: str) -> list[tuple[object, ...]]:
    connection = sqlite3.connect(path)
    try:
        return connection.execute(sql).fetchall()
    finally:
        connection.close()


def test_a_run_comes_back_as_it_was_written(path: Path) -> None:
    record = RunRecord.create(path, {"title": "Bring the jars in", "file:config/cart.yaml": "robot: Greenhouse cart\n"})
    record.step(SECOND, POINT, (0.25, -0.5))
    record.true_pose(SECOND, (0.11, 0.34, -3.0))
    for number, event in enumerate(EVENTS, 2):
        record.entry(number * SECOND, event)
    record.entry(20 * SECOND, TrueFind(1, 1.52, 2.49))
    record.entry(20 * SECOND, FinalObject("jar 1", "amber", 0.6, 0.7, "tray"))
    record.finish("done", "all_in", {"expected": 1})

    run = read(path)

    assert record.trouble == ""
    assert run.header == {
        "title": "Bring the jars in",
        "file:config/cart.yaml": "robot: Greenhouse cart\n",
        "schema": str(schema.VERSION),
    }
    assert run.track == (TrackSample(SECOND, POINT, (0.25, -0.5)),)
    assert run.true_track == (TruePose(SECOND, 0.11, 0.34, -3.0),)
    assert [happening.event for happening in run.happenings] == EVENTS
    assert [happening.at_ns for happening in run.happenings] == [number * SECOND for number in range(2, 14)]
    assert run.true_finds == {1: TrueFind(1, 1.52, 2.49)}
    assert run.final_objects == (FinalObject("jar 1", "amber", 0.6, 0.7, "tray"),)
    assert run.outcome == RunEnd("done", "all_in", {"expected": 1})
    assert (run.started_ns, run.ended_ns) == (SECOND, 20 * SECOND)
    assert run.events_of(Stop) == (Stop("stop input open"),)


def test_every_class_of_event_has_its_table() -> None:
    assert set(schema.EVENT_TABLES) == set(get_args(Event)) == {type(event) for event in EVENTS}


@given(st.text(), st.text(), st.dictionaries(st.text(), st.none() | st.booleans() | st.integers() | st.text()))
def test_any_text_and_value_survives_as_a_row(left: str, where: str, values: dict[str, object]) -> None:
    change = StateChange(left, "held", "when done", where, values)

    assert schema.entry_from(StateChange, schema.entry_row(change)) == change


def test_a_value_that_cannot_be_written_costs_no_other(path: Path) -> None:
    endless: list[object] = []
    endless.append(endless)
    record = RunRecord.create(path, {})
    odd = [Reading(2, 1, {"marks": endless}), Reading(3, 2, {"marks": 10**5000})]
    record.readings(5, [("counts", Reading(3, 7, WheelCounts(12, 13))), *(("floor", one) for one in odd)])
    record.finish("done", "all_in", {})
    assert record.trouble == ""
    assert query(path, "SELECT device FROM readings") == [("counts",), ("floor",), ("floor",)]


def test_readings_stand_in_their_table_as_compact_json(path: Path) -> None:
    seen = Detections((Detection("amber", 0.1, 1.2, 0.01, 0.05, 0.2),))
    record = RunRecord.create(path, {})
    record.readings(5, [("counts", Reading(3, 7, WheelCounts(12, 13))), ("camera", Reading(1, 2, seen))])
    record.readings(6, [("range", Reading(6, 1, RangeValue(float("nan"))))])
    record.finish("done", "", {})

    assert query(path, "SELECT * FROM readings") == [
        (5, "counts", 7, 3, "[12,13,0]"),
        (5, "camera", 2, 1, '[[["amber",0.1,1.2,0.01,0.05,0.2]]]'),
        (6, "range", 1, 6, "[NaN]"),
    ]


def test_the_story_of_a_run_can_be_read_with_a_sqlite_shell(path: Path) -> None:
    record = RunRecord.create(path, {})
    for number, event in enumerate(EVENTS):
        record.entry(number * SECOND // 2, event)
    record.finish("done", "all_in", {})

    story = query(path, "SELECT entry, at_s, what, text FROM story")

    assert story[1] == (2, 0.5, "state", "seek/look -> pick_up: when target.seen")
    assert story[7] == (8, 3.5, "find", "1 amber at 1.500, 2.500 m")
    assert len(story) == len(EVENTS) + 1


def test_many_rows_go_in_by_several_statements(path: Path) -> None:
    record = RunRecord.create(path, {})
    for number in range(40_000):
        record.readings(number, [("counts", Reading(number, number, WheelCounts(number, 0)))])
    record.finish("done", "", {})

    assert query(path, "SELECT count(*), sum(sequence) FROM readings") == [(40_000, 40_000 * 39_999 // 2)]


def test_a_finished_record_is_a_single_file_and_a_second_finish_changes_nothing(path: Path) -> None:
    record = RunRecord.create(path, {})
    record.finish("done", "all_in", {})
    record.finish("failed", "later", {})

    assert [file.name for file in path.parent.iterdir()] == ["run.rec"]
    assert read(path).outcome == RunEnd("done", "all_in", {})


def test_a_full_queue_drops_samples_and_says_which_but_never_events(path: Path) -> None:
    record = RunRecord.create(path, {})
    record.finish("done", "", {})  # this one only makes the file: its writer is gone, so nothing empties the queues
    connection = sqlite3.connect(path, check_same_thread=False)
    small = RunRecord(connection, path, waiting_at_most=10)
    lock = sqlite3.connect(path, isolation_level=None)
    lock.execute("BEGIN IMMEDIATE")  # the writer waits for the file, as for a disk that hangs
    small.entry(0, Note("activity", "begin"))
    wait_until(lambda: small._entries, False)
    for number in range(1, 101):
        small.step(number, POINT, (0.0, 0.0))
        small.entry(number, Note("activity", str(number)))
    lock.execute("ROLLBACK")
    lock.close()
    small.finish("done", "", {})

    run = read(path)

    assert [note.text for note in run.events_of(Note)] == ["begin", *map(str, range(1, 101))]
    assert [sample.at_ns for sample in run.track] == list(range(1, 11))
    assert run.gaps == (Gap("track", 11, 100, 90),)


def wait_until(look: object, truth: bool) -> None:
    """Give the other thread its turn until ``look()`` is as wanted."""
    assert callable(look)
    turn = threading.Event()
    for _ in range(10_000):
        if bool(look()) is truth:
            return
        turn.wait(0.001)
    raise AssertionError("the other thread never got there")


KILLED = """
import sys
from pathlib import Path
from rover.events import Note, TrackPoint
from rover.record.writer import RunRecord
record = RunRecord.create(Path(sys.argv[1]), {"title": "cut short"})
for number in range(10**9):
    record.step(number, TrackPoint(number, 0, 0, 0, 0, 0, "seek"), (0, 0))
    record.entry(number, Note("activity", str(number)))
    if record._written > 20:
        print(record._written, flush=True)
        sys.stdin.read()
"""


def test_what_was_committed_outlives_a_killed_writer(path: Path) -> None:
    with subprocess.Popen(
        [sys.executable, "-c", KILLED, path], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as child:
        assert child.stdout is not None
        committed = int(child.stdout.readline())
        child.send_signal(signal.SIGKILL)

    run = read(path)

    assert Path(f"{path}-wal").exists()
    notes = [note.text for note in run.events_of(Note)]
    assert len(notes) >= committed > 20
    assert notes == [str(number) for number in range(len(notes))]
    assert [sample.at_ns for sample in run.track] == list(range(len(run.track)))
    assert len(run.track) >= committed
    assert run.outcome is None


FULL_DISK = """
import resource, sys
from pathlib import Path
from rover.events import Note, TrackPoint
from rover.record.writer import RunRecord
record = RunRecord.create(Path(sys.argv[1]), {"title": "full disk"})
record.entry(1, Note("activity", "before"))
while not record._written:
    pass
soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
resource.setrlimit(resource.RLIMIT_FSIZE, (Path(sys.argv[1] + "-wal").stat().st_size, hard))
record.step(2, TrackPoint(0, 0, 0, 0, 0, 0, "seek"), (0, 0))
record.entry(2, Note("activity", "during"))
while not record.trouble:
    pass
resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
if sys.argv[2] == "room again":
    record.entry(3, Note("activity", "after"))
    record.finish("done", "all_in", {})
print(record.trouble)
"""


def run_on_full_disk(path: Path, then: str) -> str:
    done = subprocess.run(
        [sys.executable, "-c", FULL_DISK, path, then], capture_output=True, text=True, check=True, timeout=60
    )
    return done.stdout


def test_a_full_disk_is_told_and_events_are_written_once_there_is_room(path: Path) -> None:
    trouble = run_on_full_disk(path, "room again")

    run = read(path)
    assert f"{path}: the run record could not be written" in trouble
    assert "make room on its disk" in trouble
    assert [note.text for note in run.events_of(Note)] == ["before", "during", "after"]
    assert run.gaps == (Gap("track", 2, 2, 1),)
    assert run.track == ()


def test_what_was_written_before_the_disk_was_full_stays(path: Path) -> None:
    run_on_full_disk(path, "killed")

    assert "before" in [note.text for note in read(path).events_of(Note)]


def test_a_record_is_never_written_over(path: Path) -> None:
    path.write_text("notes of mine")

    with pytest.raises(RecordError, match="there is a file already"):
        RunRecord.create(path, {})
    assert path.read_text() == "notes of mine"


def test_a_record_in_a_missing_folder_is_refused_with_the_reason(tmp_path: Path) -> None:
    with pytest.raises(RecordError, match="unable to open database file; check the folder"):
        RunRecord.create(tmp_path / "nowhere" / "run.rec", {})


def test_reading_changes_nothing(path: Path) -> None:
    RunRecord.create(path, {}).finish("done", "", {})
    before = path.read_bytes()
    path.parent.chmod(0o555)

    read(path)

    path.parent.chmod(0o755)
    assert path.read_bytes() == before
    assert [file.name for file in path.parent.iterdir()] == ["run.rec"]
