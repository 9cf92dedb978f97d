"""A real supervisor with a real guard; each is killed or halted, and the other has to cope."""

import contextlib
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from rover.devices.gripper.keys import CoProcessorGripperKeys
from rover.guard.callers import FORGET_NS
from rover.guard.launch import is_at_work, retire
from rover.guard.settings import LOCK_NAME, LOG_NAME, SPARE_NS
from rover.stopping import Phase

pytestmark = pytest.mark.real_time


def workers(bay) -> tuple[int, int]:
    """The processes of supervisor and guard."""
    supervisor, guard = (bay.channel / LOCK_NAME).read_text().split()
    return int(supervisor), int(guard)


def test_a_guard_that_was_killed_comes_back_stopped_and_needs_reset_enable_and_resume(bay, eventually):
    client = bay.start()
    bay.get_going(client)
    os.kill(workers(bay)[1], signal.SIGKILL)
    eventually(lambda: client.hello() and client.poll() and client.state.restarts == 1 and client.state.output_open)
    assert client.state.phase is Phase.STOPPED
    assert client.state.cause == "the guard had to be started again"
    client.enable()
    client.reset()
    eventually(lambda: bay.phase(client) is Phase.READY)
    assert bay.duty() == (0.0, 0.0), "the emulator's own deadline is off: the new guard's first word was zero"
    client.resume()
    eventually(lambda: bay.command(client) or bay.duty() == (0.5, 0.4))


ALLOWED_NS = 300_000_000


def kill_guard(bay):
    os.kill(workers(bay)[1], signal.SIGKILL)


def halt_guard(bay):
    os.kill(workers(bay)[1], signal.SIGSTOP)


def halt_guard_and_end_supervisor(bay):
    halt_guard(bay)
    os.kill(workers(bay)[0], signal.SIGTERM)


@pytest.mark.parametrize("runtime_lives", [True, False])
@pytest.mark.parametrize("make", [kill_guard, halt_guard, halt_guard_and_end_supervisor])
def test_the_wheels_are_at_zero_before_anything_else_is_done_about_a_guard(bay, eventually, make, runtime_lives):
    """The co-processor has no deadline of its own: nothing but the supervisor's word brings them there."""
    client = bay.start()
    for restarts in (1, 2, 3):
        get_going_again(bay, client, eventually)
        made_ns = time.monotonic_ns()
        make(bay)
        eventually(lambda: (runtime_lives and bay.command_at_leisure(client)) or bay.duty() == (0.0, 0.0))
        assert bay.emulator.applied[-1].now_ns - made_ns <= ALLOWED_NS
        changes = len(bay.emulator.applied)
        if make is halt_guard_and_end_supervisor:
            eventually(lambda: not is_at_work(bay.channel))
            break
        wait_until_back(client, restarts, eventually)
        assert len(bay.emulator.applied) == changes, "and they stay there"


def wait_until_back(client, restarts, eventually):
    eventually(lambda: client.hello() and client.poll() and client.state.restarts == restarts)
    eventually(lambda: client.hello() and client.poll() and client.state.output_open)


def get_going_again(bay, client, eventually):
    client.reset()
    client.enable()
    client.resume()
    bay.get_going(client)


@pytest.mark.parametrize(("on_stop", "pulse_s"), [("release", 0.0019), ("limp", None), ("hold", None)])
def test_the_jaws_of_a_guard_that_was_killed_do_what_the_robot_file_says(bay, eventually, on_stop, pulse_s):
    client = bay.start(servo=CoProcessorGripperKeys(link="main", on_stop=on_stop).options)
    bay.get_going(client)
    eventually(lambda: bay.command(client, pulse_us=1100) or bay.machine.pulses[-1][0] == 0.0011)
    killed_ns = time.monotonic_ns()
    kill_guard(bay)
    eventually(lambda: bay.duty() == (0.0, 0.0) and bay.machine.pulses[-1][0] == pulse_s)
    eventually(lambda: client.hello() and client.poll() and client.state.restarts)
    assert bay.machine.pulses[-1][0] == pulse_s
    changed_ns = next((at for pulse, at in bay.machine.pulses if at > killed_ns and pulse == pulse_s), killed_ns)
    assert changed_ns - killed_ns <= ALLOWED_NS


def test_zero_is_said_again_until_a_guard_holds_the_line(bay, eventually, monkeypatch):
    """The first one may be damaged on its way."""
    client = bay.start()
    bay.get_going(client)
    read, changes = bay.emulator._plug.read, len(bay.emulator.applied)
    monkeypatch.setattr(bay.emulator._plug, "read", lambda: read()[:0])
    killed_ns = time.monotonic_ns()
    kill_guard(bay)
    eventually(lambda: time.monotonic_ns() - killed_ns > ALLOWED_NS / 3)
    assert len(bay.emulator.applied) == changes, "what was said so far went astray"
    monkeypatch.undo()
    eventually(lambda: bay.duty() == (0.0, 0.0))
    assert bay.emulator.applied[-1].now_ns - killed_ns <= ALLOWED_NS


def test_a_line_that_was_hung_up_is_let_go_by_both_so_that_its_name_is_free_again(bay, eventually):
    client = bay.start()
    bay.get_going(client)
    held = {process: lines_of(process) for process in workers(bay)}
    assert all(held.values()), "of guard and supervisor"
    bay.emulator.unplug(0.2)
    eventually(lambda: not any(map(lines_of, workers(bay))))
    eventually(lambda: client.hello() and client.poll() and client.state.output_open)
    assert all(map(lines_of, workers(bay)))


def lines_of(process):
    names = set()
    for entry in Path(f"/proc/{process}/fd").iterdir():
        with contextlib.suppress(FileNotFoundError):  # closed meanwhile
            names.add(os.readlink(entry))
    return {name for name in names if name.startswith("/dev/pts/")}


def test_a_guard_that_hangs_is_replaced(bay, eventually):
    client = bay.start()
    bay.get_going(client)
    hung = workers(bay)[1]
    os.kill(hung, signal.SIGSTOP)
    eventually(lambda: client.hello() and client.poll() and client.state.restarts == 1)
    assert workers(bay)[1] != hung


def test_a_guard_whose_supervisor_is_gone_stops_for_good(bay, eventually):
    client = bay.start()
    bay.get_going(client)
    os.kill(workers(bay)[0], signal.SIGKILL)
    eventually(lambda: bay.command(client) or bay.phase(client) is Phase.STOPPED)
    assert client.state.cause == "the supervisor has ended"
    eventually(lambda: bay.duty() == (0.0, 0.0))
    client.reset()
    eventually(lambda: client.poll() and client.state.note == "the supervisor has ended")
    assert client.state.phase is Phase.STOPPED


def test_a_guard_whose_supervisor_hangs_stops(bay, eventually):
    client = bay.start()
    bay.get_going(client)
    os.kill(workers(bay)[0], signal.SIGSTOP)
    eventually(lambda: bay.command(client) or bay.phase(client) is Phase.STOPPED)
    assert "does not answer" in client.state.cause
    os.kill(workers(bay)[0], signal.SIGCONT)


def test_a_guard_without_supervisor_ends_when_nobody_is_connected(bay, eventually):
    client = bay.start(linger_ns=200_000_000)
    bay.get_going(client)
    os.kill(workers(bay)[0], signal.SIGKILL)
    eventually(lambda: bay.phase(client) is Phase.STOPPED)
    assert is_at_work(bay.channel)
    client.close()
    eventually(lambda: not is_at_work(bay.channel))
    assert bay.duty() == (0.0, 0.0)


STARTER = """
import sys
from pathlib import Path
from rover.devices.drive.keys import CoProcessorDriveKeys
from rover.guard.launch import start_guard
from rover.guard.settings import GuardSettings
drive = CoProcessorDriveKeys(link="main").options | {"port": sys.argv[1], "baud": 115200}
start_guard(GuardSettings(drive), Path(sys.argv[2]))
import os
os._exit(0)
"""


def test_all_ends_when_who_started_it_is_gone_and_nobody_is_connected(bay, eventually):
    """Without waiting a minute: no stop is latched that somebody would have to find."""
    subprocess.run([sys.executable, "-c", STARTER, str(bay.folder / "main"), str(bay.channel)], check=True, timeout=30)
    client = bay.client()
    eventually(lambda: client.hello() and client.poll() and client.state.output_open)
    bay.get_going(client)
    client.close()
    eventually(lambda: not is_at_work(bay.channel))
    eventually(lambda: bay.duty() == (0.0, 0.0))


def test_a_latched_stop_is_kept_for_who_comes_back(bay, eventually):
    """The first client has said goodbye and been forgotten, and its guard's starter is gone, when the next one asks."""
    subprocess.run([sys.executable, "-c", STARTER, str(bay.folder / "main"), str(bay.channel)], check=True, timeout=30)
    first = bay.client()
    eventually(lambda: first.hello() and first.poll() and first.state.output_open)
    bay.get_going(first)
    first.stop("the stop button")
    eventually(lambda: bay.phase(first) is Phase.STOPPED)
    first.close()
    gone_ns = time.monotonic_ns()
    eventually(lambda: time.monotonic_ns() - gone_ns > SPARE_NS + FORGET_NS)
    second = bay.client()
    eventually(lambda: second.hello() and second.poll() and second.state.phase is Phase.STOPPED)
    assert second.state.cause == "the stop button"
    retire(bay.channel)


def test_the_end_that_is_asked_for_says_nothing_of_a_new_start(bay):
    bay.get_going(bay.start())
    bay.process.close()
    assert "started again" not in (bay.channel / LOG_NAME).read_text("utf-8")


def test_the_end_that_is_asked_for_brings_zero(bay, eventually):
    client = bay.start()
    bay.get_going(client)
    bay.command(client)
    bay.process.close()
    assert not is_at_work(bay.channel)
    eventually(lambda: bay.duty() == (0.0, 0.0))


def test_the_guard_alone_writes_zero_when_it_is_asked_to_end(bay, eventually):
    client = bay.start()
    bay.get_going(client)
    bay.command(client)
    asked_ns = time.monotonic_ns()
    os.kill(workers(bay)[1], signal.SIGTERM)
    eventually(lambda: bay.duty() == (0.0, 0.0))
    assert bay.emulator.applied[-1].now_ns - asked_ns <= 150_000_000, "well before the command ran out"


def test_the_watchdog_is_fed_and_told_of_the_end_that_is_meant(bay, eventually):
    watchdog = bay.folder / "watchdog"
    watchdog.write_bytes(b"")
    bay.start(watchdog=str(watchdog))
    eventually(lambda: watchdog.read_bytes() == b"\0")
    bay.process.close()
    assert watchdog.read_bytes().endswith(b"V")


def test_the_watchdog_of_a_guard_that_was_killed_is_left_to_bite(bay, eventually):
    watchdog = bay.folder / "watchdog"
    watchdog.write_bytes(b"")
    bay.start(watchdog=str(watchdog))
    eventually(lambda: watchdog.read_bytes())
    os.kill(workers(bay)[0], signal.SIGSTOP)
    os.kill(workers(bay)[1], signal.SIGKILL)
    assert b"V" not in watchdog.read_bytes()
    os.kill(workers(bay)[0], signal.SIGCONT)


def test_a_watchdog_that_cannot_be_had_is_no_way_to_zero_and_keeps_the_wheels_from_turning(bay, eventually):
    client = bay.start(watchdog=str(bay.folder / "watchdog"))
    eventually(lambda: client.poll() and client.state.output_open)
    client.enable()
    eventually(lambda: client.poll() and client.state.note)
    assert client.state.ways_to_zero == "the guard's deadline, the co-processor's deadline, the supervisor"
    assert client.state.phase is Phase.NOT_ENABLED
    assert client.state.note == client.state.watchdog_fault
    assert "watchdog is not there" in client.state.note


def test_a_guard_on_pins_that_hangs_is_replaced(rigs, eventually):
    with rigs.rig("pins", "hold") as rig:
        rig.start("light")
        rig.drive(0.0)
        hung = rig.process("guard")
        os.kill(hung, signal.SIGSTOP)
        eventually(lambda: not rig.is_moving())
        eventually(lambda: set(rig.processes("guard")) - {hung})


def kill(process):
    os.kill(process, signal.SIGKILL)


def halt(process):
    os.kill(process, signal.SIGSTOP)


@pytest.mark.parametrize("harm", [kill, halt])
def test_with_guard_and_supervisor_gone_the_runtime_itself_brings_the_wheels_to_zero(bay, eventually, harm):
    """The co-processor has no deadline of its own."""
    client = bay.start()
    bay.get_going(client)
    try:
        harmed_ns = time.monotonic_ns()
        for process in workers(bay):
            harm(process)
        eventually(lambda: bay.command_at_leisure(client) or client.poll() is None or bay.duty() == (0.0, 0.0))
        assert bay.emulator.applied[-1].now_ns - harmed_ns <= ALLOWED_NS
        end_ns = time.monotonic_ns() + ALLOWED_NS
        eventually(lambda: bay.command_at_leisure(client) or client.poll() is None or time.monotonic_ns() > end_ns)
        assert bay.duty() == (0.0, 0.0)
    finally:
        for process in workers(bay):
            os.kill(process, signal.SIGCONT) if harm is halt else None


def test_a_supervisor_that_hangs_is_a_stop_in_time(bay, eventually):
    client = bay.start()
    bay.get_going(client)
    try:
        halted_ns = time.monotonic_ns()
        halt(workers(bay)[0])
        eventually(lambda: bay.command_at_leisure(client) or (client.poll() and bay.duty() == (0.0, 0.0)))
        assert bay.emulator.applied[-1].now_ns - halted_ns <= ALLOWED_NS
        eventually(lambda: client.hello() and bay.phase(client) is Phase.STOPPED)
        assert client.state.cause == "the supervisor does not answer"
    finally:
        os.kill(workers(bay)[0], signal.SIGCONT)
