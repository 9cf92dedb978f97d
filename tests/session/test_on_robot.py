"""Runs on the robot, to their end; how they begin: `test_motion_start.py`, how refused: `test_hardware.py`."""

import json
import signal
import time

import pytest

from rover.events import Delivery, StateChange, Stop
from rover.guard.client import state_of
from rover.guard.launch import is_at_work
from rover.record.reader import read
from rover.stopping import Phase

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


DELIVER = '''
"""An activity that sets something down, as far as the ledger is concerned."""

from rover.errand.ledger import Filled
from rover.events import Delivery
from rover.behaviour.vocabulary import ActivitySpec, Progress
from rover.motion.request import STILL


class SetDown:
    spec = ActivitySpec("set one down")

    def __init__(self, known, values):
        self.progress = Progress.UNDER_WAY

    def step(self, known):
        ledger, slot = known.ledger, known.ledger.slot
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
        state = stand.wait_for(lambda due=due: newest_delivered(stand, due), f"delivered; said: {stand.said}")
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
    frames = list(record.with_suffix(".frames").glob("*.png"))
    assert frames
    assert all(frame.read_bytes().startswith(b"\x89PNG") for frame in frames)


def test_a_line_unplugged_in_mid_run_is_a_stop_that_a_person_ends(stand):
    """With the line gone, only the co-processor's own deadline is left to bring the wheels to zero."""
    stand.straight_on()
    stand.emulate(deadline_ms=250)
    process = stand.start("--enable-motion")
    stand.wait_until_moving()
    stand.emulator.unplug(1.0)
    stand.wait_for(lambda: "stopped: the serial line" in stand.said, f"the stop; said: {stand.said}")
    assert stand.end(process, signal.SIGINT)[0] == 130
    assert stand.record().events_of(Stop)[-1].cause.startswith("the serial line")
    stand.wait_for(lambda: not stand.is_moving, "wheels at zero")
