"""A real guard and supervisor, commanded over their socket; an emulated co-processor without deadline is the judge."""

import contextlib
import os
import signal
import socket
import stat
import subprocess
import sys
import time
from pathlib import Path

import pytest

from rover.devices.gripper.keys import CoProcessorGripperKeys
from rover.devices.readings import DriveCommand
from rover.devices.stop_input.keys import StopPinKeys
from rover.guard.client import GuardError, state_of, stop_now
from rover.guard.protocol import Ask, Request, Ruling, encode
from rover.guard.serial_line import RETRY_NS
from rover.guard.settings import LOCK_NAME, SOCKET_NAME
from rover.stopping import Phase

pytestmark = pytest.mark.real_time

LOG_MOST_MS = 300
PUSH_MS = 1500
JAWS = CoProcessorGripperKeys(link="main").options | {"open": 0.0019, "closed": 0.0011}


def guard_pid(bay) -> int:
    return int((bay.channel / LOCK_NAME).read_text().split()[1])


def test_it_starts_stopped_and_takes_no_command(bay, eventually):
    client = bay.start()
    eventually(lambda: client.poll() and client.state.output_open)
    bay.command(client)
    eventually(lambda: client.poll() and client.answer)
    assert client.answer.verdict is Ruling.STOPPED
    assert bay.phase(client) is Phase.NOT_ENABLED
    assert client.state.cause.startswith("power-up")
    assert len(bay.emulator.applied) == 1


def test_the_wheels_get_what_is_commanded_and_the_answer_tells_it(bay, eventually):
    client = bay.start()
    bay.get_going(client)
    assert bay.duty() == (0.5, 0.4)
    eventually(lambda: bay.command(client) or (client.poll() and client.answer.verdict is Ruling.ACCEPTED))
    assert (client.answer.left, client.answer.right) == (0.5, 0.4)


def test_no_command_for_the_deadline_is_zero(bay, eventually):
    client = bay.start()
    bay.get_going(client)
    bay.command(client)
    last_ns = time.monotonic_ns()
    eventually(lambda: bay.duty() == (0.0, 0.0))
    assert bay.emulator.applied[-1].now_ns - last_ns <= LOG_MOST_MS * 1_000_000
    eventually(lambda: client.poll() and client.state.ran_out)
    assert client.state.phase is Phase.RUNNING, "a command that comes late is a hold-back, which ends by itself"


def test_a_command_lasts_no_longer_than_it_says(bay, eventually):
    client = bay.start()
    bay.get_going(client)
    eventually(lambda: bay.duty() == (0.0, 0.0))
    given_ns = time.monotonic_ns()
    client.command(DriveCommand(0.3, 0.3, 10_000, given_ns + 80_000_000))
    eventually(lambda: bay.emulator.applied[-2].left == 0.3 and bay.duty() == (0.0, 0.0))
    assert bay.emulator.applied[-1].now_ns - given_ns <= 130_000_000


def test_a_command_that_is_repeated_moves_nothing_on(bay, eventually):
    """Only sequence and expiry of the sender count: the same command again and again ends when it said it would."""
    client = bay.start()
    bay.get_going(client)
    command = DriveCommand(0.3, 0.3, 10_000, time.monotonic_ns() + 200_000_000)
    eventually(lambda: client.command(command) and client.poll() and client.answer.verdict is Ruling.OLD)
    eventually(lambda: client.command(command) and bay.duty() == (0.0, 0.0))
    assert bay.emulator.applied[-1].now_ns <= command.expires_ns + 50_000_000


def test_a_stop_from_any_process_latches(bay, eventually):
    client = bay.start()
    bay.get_going(client)
    state = stop_now(bay.channel, "a jar rolls under the wheels")
    assert state.phase is Phase.STOPPED
    assert state.cause == "a jar rolls under the wheels"
    eventually(lambda: bay.duty() == (0.0, 0.0))
    changes = len(bay.emulator.applied)
    eventually(lambda: bay.command(client) or (client.poll() and client.answer.verdict is Ruling.STOPPED))
    client.enable()
    client.resume()
    eventually(lambda: client.poll() and client.state.note == "a stop has to be reset before motion can resume")
    bay.command(client)
    assert len(bay.emulator.applied) == changes


def test_a_reset_moves_nothing_and_a_resume_lets_the_same_runtime_go_on(bay, eventually):
    client, page = bay.start(), bay.client()
    bay.get_going(client)
    page.stop("stopped from the page")
    eventually(lambda: bay.phase(client) is Phase.STOPPED and bay.duty() == (0.0, 0.0))
    page.reset()
    eventually(lambda: bay.command(client) or bay.phase(client) is Phase.READY)
    assert bay.duty() == (0.0, 0.0)
    page.resume()
    eventually(lambda: bay.command(client) or bay.duty() == (0.5, 0.4))


def test_a_stop_wins_over_a_command_of_the_same_moment(bay, eventually):
    """Both lie in the guard's queue when it looks, the command last."""
    client = bay.start()
    bay.get_going(client)
    eventually(lambda: bay.duty() == (0.0, 0.0))
    changes = len(bay.emulator.applied)
    os.kill(guard_pid(bay), signal.SIGSTOP)
    client.stop("stop")
    bay.command(client)
    os.kill(guard_pid(bay), signal.SIGCONT)
    eventually(lambda: client.poll() and client.answer.verdict is Ruling.STOPPED)
    assert len(bay.emulator.applied) == changes


def test_another_client_cannot_command_what_one_has_enabled(bay, eventually):
    client, other = bay.start(), bay.client()
    bay.get_going(client)
    bay.command(other, left=-1.0)
    eventually(lambda: other.poll() and other.answer)
    assert other.answer.verdict is Ruling.NOT_ENABLED


def test_a_runtime_that_says_goodbye_leaves_the_wheels_at_zero(bay, eventually):
    client, page = bay.start(), bay.client()
    bay.get_going(client)
    client.close()
    eventually(lambda: page.hello() and bay.phase(page) is Phase.NOT_ENABLED and page.state.permit_holder == 0)
    eventually(lambda: bay.duty() == (0.0, 0.0))


def lines_of(process: int) -> set[str]:
    names = (str(entry.resolve()) for entry in Path(f"/proc/{process}/fd").iterdir())
    return {name for name in names if name.startswith("/dev/pts/")}


def test_a_line_that_is_lost_while_nobody_is_connected_is_left_alone_until_somebody_is(bay, eventually):
    """Its name may be another device's by then. The stop is still latched."""
    first = bay.start()
    bay.get_going(first)
    first.stop("the stop button")
    eventually(lambda: bay.phase(first) is Phase.STOPPED)
    first.close()
    assert lines_of(guard_pid(bay))
    bay.emulator.unplug(0.0)
    eventually(lambda: not lines_of(guard_pid(bay)))
    back_ns = eventually(lambda: (bay.folder / "main").exists() and time.monotonic_ns())
    eventually(lambda: lines_of(guard_pid(bay)) or time.monotonic_ns() - back_ns > 3 * RETRY_NS)
    assert not lines_of(guard_pid(bay))
    second = bay.client()
    eventually(lambda: second.hello() and second.poll() and second.state.output_open)
    assert (second.state.phase, second.state.cause) == (Phase.STOPPED, "the stop button")


def block_writes(bay):
    """Let the far end read no more, and fill what the kernel holds for it, so that the guard's next write blocks."""
    bay.emulator._plug.read = lambda: b""
    line = os.open(bay.folder / "main", os.O_WRONLY | os.O_NOCTTY | os.O_NONBLOCK)
    with contextlib.suppress(BlockingIOError):
        while os.write(line, b"x" * 4096):
            pass
    os.close(line)


def test_a_co_processor_that_answers_no_more_is_a_stop(bay, eventually):
    client = bay.start()
    bay.get_going(client)
    block_writes(bay)
    eventually(lambda: bay.command(client) or bay.phase(client) is Phase.STOPPED)
    assert "does not answer" in client.state.cause
    assert not client.state.output_open
    del bay.emulator._plug.read
    eventually(lambda: client.hello() and client.poll() and client.state.output_open)
    eventually(lambda: bay.duty() == (0.0, 0.0))
    assert client.state.phase is Phase.STOPPED


def test_motion_cannot_be_enabled_before_the_co_processor_answers(folder, bay, eventually):
    bay.emulator.unplug(1e6)
    client = bay.start()
    client.enable()
    eventually(lambda: client.poll() and client.state.note.startswith("no such port"))
    assert client.state.phase is Phase.NOT_ENABLED


def test_jaws_get_their_pulse_and_after_a_stop_what_the_robot_file_says(bay, eventually):
    client = bay.start(servo=JAWS | {"on_stop": "release"})
    bay.get_going(client)
    eventually(lambda: bay.command(client, pulse_us=1100) or bay.machine.pulses[-1][0] == JAWS["closed"])
    client.stop("stop")
    eventually(lambda: bay.machine.pulses[-1][0] == JAWS["open"])


PUSHING = """
import itertools, sys, time
from pathlib import Path
from rover.devices.readings import DriveCommand
from rover.guard.client import GuardClient
client = GuardClient(Path(sys.argv[1]))
for sequence in itertools.count(1):
    client.enable()
    client.command(DriveCommand(0.0, 0.0, sequence, time.monotonic_ns() + 250_000_000), 1100)
    time.sleep(0.02)
"""


@pytest.mark.parametrize("end", [signal.SIGKILL, signal.SIGSTOP])
def test_a_runtime_that_ends_in_the_middle_of_a_push_does_not_prolong_it(bay, eventually, end):
    """Neither by the time until the guard gives it up, nor by a time of the guard's own."""
    bay.start(servo=JAWS | {"on_stop": "hold", "push_for": PUSH_MS / 1000})
    with subprocess.Popen([sys.executable, "-c", PUSHING, str(bay.channel)]) as runtime:
        eventually(lambda: [pulse_s for pulse_s, _ in bay.machine.pulses].count(JAWS["closed"]) > 5)
        runtime.send_signal(end)
        eventually(lambda: bay.machine.pulses[-1][0] is None)
        runtime.kill()
    pushed_ns = bay.machine.pulses[-1][1] - next(at for pulse_s, at in bay.machine.pulses if pulse_s)
    assert PUSH_MS - LOG_MOST_MS <= pushed_ns / 1e6 <= PUSH_MS + LOG_MOST_MS


def test_a_stop_holds_what_the_jaws_hold_until_the_push_has_lasted_long_enough(bay, eventually):
    client = bay.start(servo=JAWS | {"on_stop": "hold", "push_for": 2 * PUSH_MS / 1000})
    bay.get_going(client)
    eventually(lambda: bay.command(client, pulse_us=1100) or bay.machine.pulses[-1][0] == JAWS["closed"])
    client.stop("stop")
    eventually(lambda: client.hello() and bay.machine.pulses[-1][0] is None)
    pushed_ns = bay.machine.pulses[-1][1] - next(at for pulse_s, at in bay.machine.pulses if pulse_s)
    assert 2 * PUSH_MS - LOG_MOST_MS <= pushed_ns / 1e6 <= 2 * PUSH_MS + LOG_MOST_MS


def stop_input(lines, settle="0 s"):
    return StopPinKeys(pin=4, gpio=str(lines), settle=settle).options


def test_the_stop_input_is_obeyed_and_a_reset_waits_for_it(bay, eventually):
    lines = bay.folder / "lines"
    lines.mkdir()
    (lines / "line4").write_text("0\n")
    client = bay.start(stop_input=stop_input(lines))
    bay.get_going(client)
    (lines / "line4").write_text("1\n")
    eventually(lambda: bay.command(client) or bay.phase(client) is Phase.STOPPED)
    assert client.state.input_open
    assert client.state.cause == "the stop input is open"
    eventually(lambda: bay.duty() == (0.0, 0.0))
    client.reset()
    eventually(lambda: client.poll() and client.state.note.startswith("the stop input is open"))
    (lines / "line4").write_text("0\n")
    eventually(lambda: client.hello() and client.poll() and not client.state.input_open)
    assert client.state.phase is Phase.STOPPED
    client.reset()
    client.resume()
    eventually(lambda: bay.command(client) or bay.duty() == (0.5, 0.4))


def test_a_stop_input_that_is_closed_at_the_start_latches_no_stop(bay, eventually):
    """Though it would have to settle after an opening for longer than this test takes."""
    (bay.folder / "line4").write_text("0\n")
    client = bay.start(stop_input=stop_input(bay.folder, "100 s"))
    bay.get_going(client)
    assert not client.state.input_open


def test_a_stop_input_that_is_open_at_the_start_latches(bay, eventually):
    line = bay.folder / "line4"
    line.write_text("1\n")
    client = bay.start(stop_input=stop_input(bay.folder))
    eventually(lambda: client.poll() and client.state.input_open and client.state.output_open)
    line.write_text("0\n")
    eventually(lambda: client.hello() and client.poll() and not client.state.input_open)
    client.enable()
    eventually(lambda: client.poll() and client.state.permit_holder == client.session)
    assert (client.state.phase, client.state.cause) == (Phase.STOPPED, "the stop input is open")


def test_a_stop_input_that_cannot_be_read_stops(bay, eventually):
    client = bay.start(stop_input=stop_input(bay.folder / "nowhere"))
    eventually(lambda: client.poll() and client.state.input_open)
    client.enable()
    eventually(lambda: client.poll() and client.state.note.startswith("the stop input is open"))


def test_noise_on_the_socket_does_no_harm(bay, eventually):
    client = bay.start()
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as stranger:
        for noise in (b"", b"RG", os.urandom(500), encode(Request(1, Ask.HELLO))[:-1]):
            stranger.sendto(noise, str(bay.channel / SOCKET_NAME))
    bay.get_going(client)


def test_a_client_that_takes_nothing_holds_nobody_up(bay, eventually):
    client, deaf = bay.start(), bay.client()
    bay.get_going(client)
    eventually(lambda: bay.command(client) or (deaf.hello() and deaf.unsent == 0 and client.poll() and client.state))
    for _ in range(100):
        deaf.hello()
        bay.command(client)
        time.sleep(0.005)
    assert bay.duty() == (0.5, 0.4)


def test_the_folder_is_private(bay):
    bay.start()
    assert stat.S_IMODE(bay.channel.stat().st_mode) == 0o700


def test_without_a_guard_a_stop_says_what_to_do(folder: Path):
    with pytest.raises(GuardError, match="no motor guard in"):
        stop_now(folder / "nobody")
    with pytest.raises(GuardError, match="use the hard-wired stop"):
        stop_now(folder)


def test_a_hung_guard_is_told_to_whoever_asks(bay, folder):
    bay.start()
    os.kill(int((bay.channel / LOCK_NAME).read_text().split()[0]), signal.SIGSTOP)
    os.kill(guard_pid(bay), signal.SIGSTOP)
    try:
        with pytest.raises(GuardError, match="does not answer"):
            state_of(bay.channel)
    finally:
        for process in (bay.channel / LOCK_NAME).read_text().split():
            os.kill(int(process), signal.SIGCONT)
