"""Runs on the robot, to their end; how they begin: `test_motion_start.py`, how refused: `test_hardware.py`."""

import json
import resource
import signal
import sqlite3
import time
from contextlib import closing

import pytest

from rover.events import Delivery, Health, HealthChange, StateChange, Stop
from rover.guard.client import state_of
from rover.guard.launch import is_at_work
from rover.record.reader import read
from rover.stopping import Phase

pytestmark = pytest.mark.real_time

ZERO_WITHIN_NS = 300_000_000


def test_a_rectangle_is_driven_to_its_end(stand):
    stand.write(settings={"long_side": "40 cm", "short_side": "30 cm", "speed": "25 cm/s"})
    stand.emulate()
    code, result, said = stand.run("--enable-motion")
    assert (code, result["result"], result["reason"]) == (0, "done", "back"), said
    assert stand.duty == (0.0, 0.0)
    x, y, _ = stand.bench.pose
    assert (x, y) == pytest.approx((1.0, 4.0), abs=0.15)
    run = stand.record()
    assert run.header["host"] == "robot"
    assert run.outcome.result == "done"
    assert [change.entered for change in run.events_of(StateChange)][-1] == "back"
    assert not is_at_work(stand.guard)


@pytest.mark.parametrize(("number", "code"), [(signal.SIGINT, 130), (signal.SIGTERM, 143)])
def test_a_signal_in_mid_run_brings_the_wheels_to_zero_and_finishes_the_record(stand, number, code):
    stand.straight_on()
    stand.emulate()
    process = stand.start("--enable-motion")
    stand.wait_until_moving()
    sent_ns = stand.clock.now_ns()
    ended, result = stand.end(process, number)
    assert (ended, result["result"], result["reason"]) == (code, "stopped", "ended by a signal")
    assert stand.duty == (0.0, 0.0)
    assert stand.emulator.applied[-1].now_ns - sent_ns <= ZERO_WITHIN_NS
    assert stand.record().outcome.result == "stopped"


def test_killed_outright_the_guard_brings_the_wheels_to_zero_and_the_record_opens(stand):
    stand.straight_on()
    stand.emulate()
    process = stand.start("--enable-motion")
    stand.wait_until_moving()
    time.sleep(1.0)  # a commit comes each half second
    sent_ns = stand.clock.now_ns()
    process.kill()
    stand.wait_for(lambda: not stand.is_moving, "wheels at zero")
    assert stand.emulator.applied[-1].now_ns - sent_ns <= ZERO_WITHIN_NS
    process.wait()
    run = stand.record()
    assert run.outcome is None
    assert run.events_of(StateChange)[0].entered == "on"
    state = json.loads(next((stand.folder / "runs").glob("*.state.json")).read_text())
    assert state["ended"] == ""


def test_a_stop_that_the_core_latches_is_latched_by_the_guard_too(stand):
    script = [["0 s", True], ["1 s", False], ["2 s", True], ["8 s", False], ["9 s", True]]
    stop = {"driver": "scripted", "script": script, "overdue_after": "1 h"}
    stand.robot["devices"] |= {"stop_input": stop}
    stand.straight_on()
    stand.emulate()
    process = stand.start("--enable-motion")
    stand.wait_until_moving()
    stand.wait_for(lambda: "stopped: the stop input is open" in stand.said, "the stop")
    state = stand.wait_for(
        lambda: (found := state_of(stand.guard)).phase is Phase.STOPPED and found, "the guard's stop"
    )
    assert state.cause == "the stop input is open"
    assert stand.end(process, signal.SIGINT)[0] == 130


def test_a_battery_whose_file_fails_for_a_moment_is_not_lost_for_the_run(stand):
    raw = stand.folder / "in_voltage0_raw"
    raw.write_text("12000")
    battery = {"driver": "adc_file", "file": str(raw), "scale": "1 mV", "full": "12.6 V", "rate": "20 Hz"}
    stand.robot["devices"]["battery"] = battery
    stand.straight_on()
    stand.emulate()
    process = stand.start("--enable-motion")
    stand.wait_until_moving()
    raw.rename(stand.folder / "away")
    stand.wait_for(lambda: changes_of_health(stand, "battery")[-1:] == ["faulty"], "the battery is lost")
    (stand.folder / "away").rename(raw)
    stand.wait_for(lambda: changes_of_health(stand, "battery")[-1:] == ["ok"], "the battery is back")
    assert stand.is_moving
    assert stand.end(process, signal.SIGINT)[0] == 130
    assert f"battery: lost once, brought back once ({raw} is not there; " in stand.said


def changes_of_health(stand, device):
    """Return the device's healths by the record of the run that is going on, as far as it is committed."""
    path = next((stand.folder / "runs").glob("*.sqlite"))
    with closing(sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True)) as record:
        return [row[0] for row in record.execute("SELECT health FROM health WHERE device = ?", (device,))]


UNTIL_LOST = """
behaviour: Drive on until the record is lost
start: on
states:
  on:
    does: run_straight
    with: {length: 7 m, speed: 20 cm/s}
    exits:
      - {when: not record.ok, go: lost}
      - {when: done or failed, go: over}
      - {after: 5 min, go: over}
  lost:
    does: stand_still
    exits:
      - {when: record.ok, go: again}
      - {after: 5 min, go: over}
  again: {final: done}
  over: {final: failed}
"""


def test_a_disk_that_fills_up_is_said_at_once_and_is_a_signal(stand):
    (stand.folder / "behaviours/until.yaml").write_text(UNTIL_LOST)
    stand.write("until.yaml")
    stand.emulate()
    process = stand.start("--enable-motion")
    stand.wait_until_moving()
    log = next((stand.folder / "runs").glob("*.sqlite-wal"))
    _, most = resource.prlimit(process.pid, resource.RLIMIT_FSIZE)
    resource.prlimit(process.pid, resource.RLIMIT_FSIZE, (log.stat().st_size, most))
    stand.wait_for(
        lambda: "the run record could not be written" in stand.said, lambda: f"it is said; said: {stand.said}"
    )
    stand.wait_for(lambda: not stand.is_moving, "the behaviour left on it")
    resource.prlimit(process.pid, resource.RLIMIT_FSIZE, (most, most))
    out, _ = process.communicate(timeout=60)
    assert json.loads(out)["reason"] == "again"
    lines = [line for line in stand.said.splitlines() if "run record" in line]
    assert "make room on its disk" in lines[0]
    assert lines[1] == "the run record is being written again"
    health = [change.health for change in stand.record().events_of(HealthChange) if change.device == "record"]
    assert health == [Health.FAULTY, Health.OK]


DELIVER = '''
"""An activity that sets something down, as far as the ledger is concerned."""

from rover.errand.entries import Filled
from rover.events import Delivery
from rover.behaviour.vocabulary import ActivitySpec, Progress
from rover.motion.request import STILL


class SetDown:
    spec = ActivitySpec("set one down")

    def __init__(self, known, values):
        self.progress = Progress.UNDER_WAY

    def step(self, known):
        ledger, slot = known.ledger, known.ledger.free_slots[0]
        ledger.filled.append(Filled(slot, "amber"))
        ledger.delivered.append("amber")
        known.events.append(Delivery(len(ledger.delivered), "amber", slot.number, slot.x, slot.y))
        self.progress = Progress.DONE
        return STILL
'''
ONE_AFTER_ANOTHER = """
behaviour: Set one down, and wait
start: down
states:
  down: {does: "deliver:SetDown", exits: [{when: done, go: wait}, {when: failed, go: over}, {after: 1 min, go: over}]}
  wait: {does: stand_still, exits: [{after: 5 min, go: over}]}
  over: {final: done}
"""


def test_taken_up_again_it_goes_on_with_the_next_slot(stand):
    folder = stand.own_module("deliver", DELIVER)
    (stand.folder / "behaviours/one.yaml").write_text(ONE_AFTER_ANOTHER)
    zone = {"x": "1 m", "y": "1 m", "width": "1.2 m", "depth": "1.2 m"}
    kinds = {"amber": {"lid": "amber", "height": "60 mm", "width": "50 mm"}}
    stand.write("one.yaml", field=stand.field | {"zone": zone}, kinds=kinds, expect=3)
    stand.emulate()
    slots = []
    for more in ((), ("--resume",), ("--resume",)):
        process = stand.start("--enable-motion", "--drivers", folder, *more)
        due = len(slots) + 1
        state = stand.wait_for(lambda due=due: newest_delivered(stand, due), lambda: f"delivered; said: {stand.said}")
        slots.append(state["filled"][-1][0])
        code, result = stand.end(process, signal.SIGINT)
        assert (code, result["delivered"]) == (130, len(slots))
    assert slots == [0, 1, 2]
    records = sorted((stand.folder / "runs").glob("*.sqlite"), key=lambda path: path.stat().st_mtime_ns)
    assert [read(path).events_of(Delivery)[0].number for path in records] == [1, 2, 3]


def newest_delivered(stand, count):
    states = [json.loads(path.read_text())["core"]["ledger"] for path in (stand.folder / "runs").glob("*.state.json")]
    return next((state for state in states if len(state["delivered"]) == count), None)


VIOLET = """
import numpy
from rover.devices.readings import Detections, Frame, Reading


class Violet:
    def __init__(self, options, host):
        self.frame = None

    def poll(self, now_ns):
        sequence = self.frame.sequence + 1 if self.frame else 0
        self.frame = Reading(now_ns, sequence, Frame(numpy.full((2, 3, 3), 200, numpy.uint8), 3, 2))
        return [Reading(now_ns, sequence, Detections(()))]

    def close(self):
        pass
"""


def test_frames_are_kept_beside_the_record(stand):
    folder = stand.own_module("cameras", VIOLET)
    stand.robot["devices"]["camera"] = {"driver": "cameras:Violet"}
    stand.straight_on("5 cm")
    stand.emulate()
    code, _, said = stand.run("--enable-motion", "--drivers", folder)
    assert code == 0, said
    record = next((stand.folder / "runs").glob("*.sqlite"))
    frames = list(record.with_suffix(".frames").glob("*.jpg"))
    assert frames
    assert all(frame.read_bytes().startswith(b"\xff\xd8") for frame in frames)


def test_a_line_unplugged_in_mid_run_is_a_stop_that_a_person_ends(stand):
    """With the line gone, only the co-processor's own deadline is left to bring the wheels to zero."""
    stand.straight_on()
    stand.emulate(deadline_ms=250)
    process = stand.start("--enable-motion")
    stand.wait_until_moving()
    stand.emulator.unplug(1.0)
    stand.wait_for(lambda: "stopped: the serial line" in stand.said, lambda: f"the stop; said: {stand.said}")
    assert stand.end(process, signal.SIGINT)[0] == 130
    assert stand.record().events_of(Stop)[-1].cause.startswith("the serial line")
    stand.wait_for(lambda: not stand.is_moving, "wheels at zero")
