"""A real supervisor with a real guard; each is killed or halted, and the other has to cope."""

import os
import signal
import subprocess
import sys
import time

from rover.guard.callers import FORGET_NS
from rover.guard.launch import is_at_work, retire
from rover.guard.protocol import Phase
from rover.guard.settings import LOCK_NAME, LOG_NAME, SPARE_NS, GuardSettings
from rover.guard.supervisor import write_zero


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
from rover.guard.launch import start_guard
from rover.guard.settings import GuardSettings
start_guard(GuardSettings(drive={"port": sys.argv[1], "baud": 115200}), Path(sys.argv[2]))
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
    assert client.state.ways_to_zero == "the guard's deadline, the co-processor's deadline"
    assert client.state.phase is Phase.STOPPED
    assert client.state.note == client.state.watchdog_fault
    assert "watchdog is not there" in client.state.note


def test_zero_is_written_to_every_channel_though_one_cannot_be(rigs, folder, capsys):
    """Whoever holds them: nothing of the guard is needed for it."""
    files = rigs.PwmFiles(folder / "pwm")
    chip = folder / "pwm" / "pwmchip0"
    for channel in (0, 1):
        (chip / f"pwm{channel}" / "duty_cycle").write_text("25000\n")
    (chip / "pwm0" / "duty_cycle").unlink()
    (chip / "pwm0" / "duty_cycle").mkdir()
    write_zero(GuardSettings(drive={}, channels=tuple((str(folder / "pwm"), 0, channel) for channel in (0, 1, 7))))
    assert (chip / "pwm1" / "duty_cycle").read_text().startswith("0\n")
    assert "PWM channel 0 of chip 0: cannot be brought to zero" in capsys.readouterr().err
    files.close()


def test_a_guard_on_pins_that_hangs_is_replaced(rigs, eventually):
    with rigs.pin_rig() as rig:
        rig.start_runtime(False)
        eventually(rig.is_moving)
        hung = rig.guard_pid()
        os.kill(hung, signal.SIGSTOP)
        eventually(lambda: not rig.is_moving())
        rig.end_runtime()
        eventually(lambda: rig.guard_pid() != hung)
