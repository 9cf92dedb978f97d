"""Nothing moves again by itself: after a standstill, a restart, a lost line or a stalled one a person has to act."""

import os
import re
import signal
import subprocess
import sys
import time

import pytest

from rover.guard.protocol import Ruling
from rover.guard.settings import LOCK_NAME
from rover.link.emulated_firmware import Firmware
from rover.stopping import Phase

from .conftest import LASTS_NS

pytestmark = pytest.mark.real_time

COMMANDING = """
import itertools, sys, time
from pathlib import Path
from rover.devices.readings import DriveCommand
from rover.guard.client import GuardClient
client = GuardClient(Path(sys.argv[1]))
for sequence in itertools.count(1):
    if sequence < 100:
        client.enable()
    client.command(DriveCommand(0.5, 0.4, sequence, time.monotonic_ns() + 250_000_000))
    time.sleep(0.02)
"""


def test_a_runtime_that_stood_still_for_a_second_has_to_be_enabled_anew(bay, eventually):
    bay.start()
    person = bay.client()
    with subprocess.Popen([sys.executable, "-c", COMMANDING, str(bay.channel)]) as runtime:
        eventually(lambda: bay.duty() == (0.5, 0.4) and len(bay.emulator.applied) > 0)
        time_is_over_ns = time.monotonic_ns() + 2_500_000_000
        eventually(lambda: time.monotonic_ns() > time_is_over_ns)  # it enables motion no more
        assert bay.duty() == (0.5, 0.4)
        runtime.send_signal(signal.SIGSTOP)
        try:
            eventually(lambda: person.hello() and bay.phase(person) is Phase.NOT_ENABLED)
            assert "stood still" in person.state.cause
        finally:
            runtime.send_signal(signal.SIGCONT)
        changes = len(bay.emulator.applied)
        watched_ns = time.monotonic_ns() + 500_000_000
        eventually(lambda: person.hello() and time.monotonic_ns() > watched_ns)
        runtime.kill()
    assert len(bay.emulator.applied) == changes
    assert bay.duty() == (0.0, 0.0)


def test_where_all_stood_still_at_once_the_first_word_afterwards_moves_nothing(bay, eventually):
    """Runtime, guard and supervisor; the runtime is the first to go on, and its command waits for the guard."""
    client = bay.start()
    bay.get_going(client)
    workers = [int(word) for word in (bay.channel / LOCK_NAME).read_text().split()]
    for process in workers:
        os.kill(process, signal.SIGSTOP)
    halted_ns = time.monotonic_ns()
    eventually(lambda: time.monotonic_ns() - halted_ns > 1_000_000_000)
    bay.command(client)
    for process in workers:
        os.kill(process, signal.SIGCONT)
    eventually(lambda: bay.command_at_leisure(client) or bay.phase(client) is not Phase.RUNNING)
    eventually(lambda: bay.command_at_leisure(client) or bay.duty() == (0.0, 0.0))
    changes = len(bay.emulator.applied)
    watched_ns = time.monotonic_ns() + 500_000_000
    eventually(lambda: bay.command_at_leisure(client) or time.monotonic_ns() > watched_ns)
    assert len(bay.emulator.applied) == changes


def test_a_hold_stands_the_wheels_still_and_a_resume_alone_ends_it(bay, eventually):
    client = bay.start()
    bay.get_going(client)
    client.hold("held at the terminal")
    eventually(lambda: bay.command(client) or bay.phase(client) is Phase.HELD)
    eventually(lambda: bay.command(client) or bay.duty() == (0.0, 0.0))
    assert client.state.cause == "held at the terminal"
    client.resume()
    eventually(lambda: bay.command(client) or bay.duty() == (0.5, 0.4))


def test_a_line_that_comes_back_comes_back_stopped(bay, eventually):
    """Reconnection starts stopped, as power-up does."""
    client = bay.start()
    bay.get_going(client)
    bay.emulator.unplug(0.3)
    eventually(lambda: bay.command(client) or bay.phase(client) is Phase.STOPPED)
    eventually(lambda: bay.command(client) or (client.poll() and client.state.output_open))
    assert "gone" in client.state.cause
    eventually(lambda: bay.command(client) or (client.poll() and client.answer.verdict is Ruling.STOPPED))
    eventually(lambda: bay.duty() == (0.0, 0.0))
    client.reset()
    client.resume()
    eventually(lambda: bay.command(client) or bay.duty() == (0.5, 0.4))


def test_a_co_processor_that_restarts_is_a_stop_and_moves_no_more(bay, eventually):
    """Even one that is back before the next command: its boot number tells."""
    client = bay.start()
    bay.get_going(client)
    bay.emulator.reboot()
    eventually(lambda: bay.command(client) or bay.phase(client) is Phase.STOPPED)
    assert client.state.cause.endswith("has restarted")
    eventually(lambda: bay.command(client) or (client.poll() and client.answer.verdict is Ruling.STOPPED))
    eventually(lambda: bay.duty() == (0.0, 0.0))
    client.reset()
    client.resume()
    eventually(lambda: bay.command(client) or bay.duty() == (0.5, 0.4))


@pytest.mark.parametrize("firmware", [Firmware(revision=1), Firmware(revision=2)], ids=lambda one: one.revision)
def test_what_waited_in_a_stalled_line_moves_nothing_on_a_board_that_reads_a_time(bay, firmware, eventually):
    """Bytes in an adapter cannot be thrown away from here; a board of revision 1 obeys them until the zero behind."""
    client = bay.start()
    bay.get_going(client)
    plug, waiting, bears_a_time = bay.emulator._plug, bytearray(), re.compile(rb"\$PXFRM(,\d+){6},\w{4}\*")
    read = plug.read
    if firmware.revision == 2:  # once the guard knows the board: it says what it is once a second
        plug.read = lambda: waiting.extend(seen := read()) or seen
        eventually(lambda: bay.command_at_leisure(client) or bears_a_time.search(waiting))
        waiting.clear()
    plug.read = lambda: waiting.extend(read()) or b""
    eventually(lambda: bay.command_at_leisure(client) or bay.phase(client) is Phase.STOPPED)
    eventually(lambda: bay.duty() == (0.0, 0.0))
    assert b"$PXFRM" in waiting
    over_ns = time.monotonic_ns() + LASTS_NS
    eventually(lambda: time.monotonic_ns() > over_ns)
    changes = len(bay.emulator.applied)
    plug.read = lambda: setattr(plug, "read", read) or bytes(waiting)  # all of it at once, and then as before

    def is_through() -> bool:
        with bay.emulator._lock:
            return plug.read == read and not bay.emulator._downwards

    eventually(is_through)
    eventually(lambda: bay.duty() == (0.0, 0.0))
    assert (len(bay.emulator.applied) == changes) is (firmware.revision == 2)


@pytest.mark.parametrize("firmware", [Firmware()])
def test_a_line_that_stalls_for_less_than_it_takes_to_miss_an_answer_is_a_stop_too(bay, eventually):
    """The device says that its command ran out while commands were being sent."""
    client = bay.start()
    bay.get_going(client)
    plug = bay.emulator._plug
    read, plug.read = plug.read, lambda: b""
    stalled_ns = time.monotonic_ns()
    eventually(lambda: bay.command_at_leisure(client) or time.monotonic_ns() - stalled_ns > 350_000_000)
    plug.read = read
    eventually(lambda: bay.command_at_leisure(client) or bay.phase(client) is Phase.STOPPED)
    assert "came too late" in client.state.cause
    eventually(lambda: bay.duty() == (0.0, 0.0))


@pytest.mark.parametrize("firmware", [Firmware()])
def test_a_pause_of_the_runtime_that_the_device_noticed_first_is_none(bay, eventually):
    client = bay.start()
    bay.get_going(client)
    paused_ns = time.monotonic_ns()
    eventually(lambda: time.monotonic_ns() - paused_ns > 400_000_000)
    eventually(lambda: bay.command_at_leisure(client) or (client.poll() and bay.duty() == (0.5, 0.4)))
    assert client.state.phase is Phase.RUNNING
