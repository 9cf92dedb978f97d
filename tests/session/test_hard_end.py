"""A signal ends `rover` whatever its own code does: real processes, with drivers and activities that never return."""

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from rover.events import Note
from rover.session import end_watcher
from tests.session.conftest import COMMAND

pytestmark = pytest.mark.real_time

ZERO_WITHIN_NS = 300_000_000
IN_PYTHON = "    while True: pass\n"
DEAF = """
    while True:
        try:
            while True: pass
        except BaseException: pass
"""
IN_C = "    import itertools\n    sum(itertools.repeat(1))\n"
"""A loop in C, which holds the interpreter's lock for ever."""
LOCKED = """
    import ctypes
    library, mutex = ctypes.PyDLL(None), ctypes.create_string_buffer(64)
    library.pthread_mutex_lock(mutex)
    library.pthread_mutex_lock(mutex)
"""
"""A wait in C, with the lock held, which no signal interrupts."""
LOOPS = {"in Python": IN_PYTHON, "in Python, taking all exceptions": DEAF, "in C": IN_C, "waiting in C": LOCKED}
SENSOR = """
from pathlib import Path
from rover import RangeValue, Reading

def loop():
    Path("loops").touch()
{loop}

class Range:
    def __init__(self, options, context):
        self.sequence = 0

    def poll(self, now_ns):
        self.sequence += 1
        if Path("begin").exists():
            loop()
        return [Reading(now_ns, self.sequence, RangeValue(None))]

    def close(self):
        pass
"""
ACTIVITY = """
from pathlib import Path
from rover.behaviour.vocabulary import ActivitySpec, Progress
from rover.motion.request import Request

def loop():
    Path("loops").touch()
{loop}

class Drive:
    spec = ActivitySpec("drives on")
    progress = Progress.UNDER_WAY

    def __init__(self, known, values):
        pass

    def step(self, known):
        if Path("begin").exists():
            loop()
        return Request(speed=0.2)
"""
OWN = """
behaviour: Drive on
start: on
states:
  on: {does: "mine:Drive", exits: [{when: done or failed, go: over}, {after: 5 min, go: over}]}
  over: {final: done}
"""


def hung(stand, *more):
    """Have a run's own code loop while it drives; return the process."""
    process = stand.start("--enable-motion", "--drivers", str(stand.folder / "own"), *more)
    stand.wait_until_moving()
    (stand.folder / "begin").touch()
    stand.wait_for((stand.folder / "loops").exists, lambda: f"the loop; said: {stand.said}")
    return process


def ended_by(process, number, seconds=15.0):
    """Send one signal; return the exit code as a shell has it."""
    process.send_signal(number)
    process.communicate(timeout=seconds)
    return process.returncode if process.returncode >= 0 else 128 - process.returncode


DRIVER_AND_ACTIVITY = [
    ("driver", "in Python"),
    ("driver", "in C"),
    ("activity", "in C"),
    *(pytest.param(what, loop, marks=pytest.mark.long) for what in ("driver", "activity") for loop in LOOPS),
]


@pytest.mark.parametrize(("what", "loop"), DRIVER_AND_ACTIVITY)
def test_one_sigterm_ends_a_run_whose_own_code_never_returns(stand, what, loop):
    if what == "driver":
        stand.own_module("mine", SENSOR.format(loop=LOOPS[loop]))
        stand.robot["devices"]["range"] = {"driver": "mine:Range"}
        stand.straight_on()
    else:
        stand.own_module("mine", ACTIVITY.format(loop=LOOPS[loop]))
        (stand.folder / "behaviours/own.yaml").write_text(OWN)
        stand.write("own.yaml")
    stand.emulate()
    process = hung(stand)
    began_ns = stand.clock.now_ns()
    stand.wait_for(lambda: not stand.is_moving, "wheels at zero")
    assert stand.emulator.applied[-1].now_ns - began_ns <= ZERO_WITHIN_NS
    assert ended_by(process, signal.SIGTERM) == 143, stand.said
    assert "Traceback" not in stand.said
    assert "ended by force" in stand.said.splitlines()[-1]
    run = stand.record()
    if "Python" in loop:
        assert (run.outcome.result, run.outcome.reason) == ("stopped", "ended by force")
        (fault,) = (note.text for note in run.events_of(Note) if note.kind == "fault")
        assert "in loop" in fault
    else:
        assert run.outcome is None


@pytest.mark.parametrize(
    ("number", "code", "loop"),
    [
        (signal.SIGHUP, 129, "in Python"),
        (signal.SIGINT, 130, "in C"),
        pytest.param(signal.SIGINT, 130, "in Python", marks=pytest.mark.long),
        pytest.param(signal.SIGHUP, 129, "in C", marks=pytest.mark.long),
    ],
)
def test_the_exit_code_tells_the_signal(stand, loop, number, code):
    stand.own_module("mine", SENSOR.format(loop=LOOPS[loop]))
    stand.robot["devices"]["range"] = {"driver": "mine:Range"}
    stand.straight_on()
    stand.emulate()
    assert ended_by(hung(stand), number) == code


def test_a_second_signal_ends_a_loop_in_c_at_once(stand):
    stand.own_module("mine", SENSOR.format(loop=IN_C))
    stand.robot["devices"]["range"] = {"driver": "mine:Range"}
    stand.straight_on()
    stand.emulate()
    process = hung(stand)
    process.send_signal(signal.SIGTERM)
    stand.wait_for(lambda: not pending(process.pid), "the first one taken: two that wait are one")
    assert ended_by(process, signal.SIGTERM) == 143
    assert "ended by force" not in stand.said  # nobody had to come for it


@pytest.mark.parametrize("where", ["__init__", pytest.param("close", marks=pytest.mark.long)])
def test_a_driver_that_never_returns_from_opening_or_closing(stand, where):
    begins = {"__init__": "        self.sequence = 0\n", "close": "        pass\n"}[where]
    source = SENSOR.format(loop=IN_PYTHON).replace(begins, f"{begins}        loop()\n")
    stand.own_module("mine", source)
    stand.robot["devices"]["range"] = {"driver": "mine:Range"}
    stand.straight_on("30 cm" if where == "close" else "7 m")
    stand.emulate()
    process = stand.start("--enable-motion", "--drivers", str(stand.folder / "own"))
    stand.wait_for((stand.folder / "loops").exists, lambda: f"the loop; said: {stand.said}")
    assert ended_by(process, signal.SIGTERM, 40.0) == 143
    assert "loop() in mine.py" in stand.said.splitlines()[-1]
    assert not stand.is_moving


def test_a_rehearsal_too(stand):
    stand.own_module("mine", SENSOR.format(loop=IN_C))
    stand.robot["devices"]["range"] = {"driver": "mine:Range"}
    (stand.folder / "begin").touch()
    stand.straight_on()
    process = subprocess.Popen([*COMMAND, "rehearse", str(stand.errand), "--drivers", "own"], cwd=stand.folder)
    with process:
        stand.wait_for((stand.folder / "loops").exists, "the loop")
        assert ended_by(process, signal.SIGTERM) == 143
    assert stand.record().outcome is None


def test_nothing_is_left_of_the_watcher(stand):
    stand.straight_on("5 cm")
    stand.emulate()
    process = stand.start("--enable-motion")
    stand.wait_until_moving()
    (watcher,) = (pid for pid in children_of(process.pid) if b"end_watcher" in command_line(pid))
    process.communicate(timeout=60)
    stand.wait_for(lambda: not command_line(watcher), "the watcher's end")


def pending(process):
    """Tell whether a signal waits to be taken by a process; see proc(5)."""
    lines = dict(line.split(":") for line in Path(f"/proc/{process}/status").read_text().splitlines())
    return int(lines["ShdPnd"], 16) or int(lines["SigPnd"], 16)


def children_of(process):
    return [int(number) for number in Path(f"/proc/{process}/task/{process}/children").read_text().split()]


def command_line(process):
    try:
        return Path(f"/proc/{process}/cmdline").read_bytes()
    except OSError:
        return b""


def test_the_watcher_runs_as_a_file_by_itself():
    ended = subprocess.run(
        [sys.executable, "-I", "-S", end_watcher.__file__, str(os.getpid())],
        stdin=subprocess.DEVNULL,
        capture_output=True,
    )
    assert (ended.returncode, ended.stdout, ended.stderr) == (0, b"", b"")
