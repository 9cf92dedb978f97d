"""From power-up to permitted motion, as `rover run` and whoever starts it go through it."""

import os
import pty
import signal
import socket
import time

import pytest

from rover.events import Stop
from rover.guard.client import state_of, stop_now

pytestmark = pytest.mark.real_time


def test_without_a_person_it_stands_still_and_says_how_to_enable_motion(stand):
    """As a service manager starts it: no terminal, and a socket to which the loop says that it lives."""
    stand.straight_on()
    stand.emulate()
    told = stand.folder / "told"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(told))
        manager.settimeout(60.0)
        process = stand.start(NOTIFY_SOCKET=str(told), WATCHDOG_USEC="400000")
        words = [manager.recv(1000).decode() for _ in range(5)]
        stand.wait_for(lambda: "--enable-motion" in stand.said, "how to enable motion")
        code, result = stand.end(process, signal.SIGTERM)
        while (word := manager.recv(1000).decode()) != "STOPPING=1":
            words.append(word)
    assert words[0].startswith("READY=1\nWATCHDOG=1\nSTATUS=")
    assert all(word.startswith("WATCHDOG=1") for word in words[1:])
    assert (code, result["result"]) == (143, "stopped")
    assert [duty[1:] for duty in stand.emulator.applied] == [(0.0, 0.0)]


def test_at_a_terminal_a_typed_yes_starts_and_keys_stop_reset_and_go_on(stand):
    stand.straight_on()
    stand.emulate()
    person, terminal = pty.openpty()
    try:
        process = stand.start(stdin=terminal)
        stand.wait_for(lambda: "Type yes" in stand.said, lambda: f"the question; said: {stand.said}")
        os.write(person, b"no\n")
        os.write(person, b"yes\n")
        stand.wait_until_moving()
        stand.wait_for(lambda: "keys:" in stand.said, "the keys")
        os.write(person, b"s")
        stand.wait_for(lambda: not stand.is_moving, "stopped")
        stand.wait_for(lambda: "stopped at the terminal" in stand.said, "the cause")
        os.write(person, b"g")  # without a reset it means nothing
        os.write(person, b"r")  # which alone moves nothing
        time.sleep(0.5)
        assert not stand.is_moving
        os.write(person, b"g")
        stand.wait_until_moving()
        stop_now(stand.guard, "a jar rolls under the wheels")
        stand.wait_for(lambda: "stopped: a jar rolls" in stand.said, "the cause from another process")
        stand.wait_for(lambda: not stand.is_moving, "stopped")
        code, _ = stand.end(process, signal.SIGINT)
    finally:
        os.close(person)
        os.close(terminal)
    assert code == 130
    assert state_of(stand.guard).cause == "a jar rolls under the wheels", "a stop outlives the run"
    causes = [stop.cause for stop in stand.record().events_of(Stop)]
    assert causes == ["motion has not been enabled", "stopped at the terminal", "a jar rolls under the wheels"]


def test_the_stop_input_is_tried_before_motion_is_enabled(stand):
    script = [["0 s", True], ["1 s", False], ["2 s", True]]
    stop = {"driver": "scripted", "script": script, "overdue_after": "1 h"}
    stand.robot["devices"] |= {"stop_input": stop}
    stand.straight_on("5 cm")
    stand.emulate()
    code, _, said = stand.run("--enable-motion")
    assert code == 0, said
    assert said.index("press the stop") < said.index("opens and closes, ok")


def test_a_device_that_reports_nothing_is_named_with_its_place_in_the_robot_file(stand):
    stand.robot["devices"]["range"] = {"driver": "scripted"}
    stand.straight_on()
    stand.emulate()
    line = stand.refused()
    assert line == "not in order: range; nothing was moved"
    assert "see 'devices: range:' (driver scripted) in the robot file; is it connected?" in stand.said
    assert [duty[1:] for duty in stand.emulator.applied] == [(0.0, 0.0)]
