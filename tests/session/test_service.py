"""The service manager's part is played by a real datagram socket."""

import os
import socket

import pytest

from rover.session.service import ALIVE, READY, STOPPING, notify, status, watchdog_limit_ns


@pytest.fixture(params=["path", "abstract"])
def manager(request, tmp_path):
    name = str(tmp_path / "notify") if request.param == "path" else f"@rover-test-{os.getpid()}"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listener:
        listener.bind(name.replace("@", "\0", 1))
        listener.setblocking(False)
        yield listener, {"NOTIFY_SOCKET": name}


def test_each_state_is_a_datagram(manager):
    listener, environment = manager

    for state in (READY, ALIVE, STOPPING):
        assert notify(state, environment=environment)

    assert [listener.recv(100) for _ in range(3)] == [b"READY=1", b"WATCHDOG=1", b"STOPPING=1"]


def test_states_may_travel_together(manager):
    listener, environment = manager

    notify(ALIVE, status("standing still:\nmotion is not enabled"), environment=environment)

    assert listener.recv(100) == b"WATCHDOG=1\nSTATUS=standing still: motion is not enabled"


def test_a_manager_that_does_not_read_never_holds_the_loop_up(manager):
    _, environment = manager

    assert notify(ALIVE, environment=environment)

    assert any(not notify(ALIVE, environment=environment) for _ in range(100_000))


@pytest.mark.parametrize("name", ["", "relative", "/nowhere/at/all", "vsock:2:1234"])
def test_without_a_manager_nothing_is_sent_and_nothing_breaks(name):
    assert not notify(READY, environment={"NOTIFY_SOCKET": name} if name else {})


@pytest.mark.parametrize(
    ("environment", "limit_ns"),
    [
        ({"WATCHDOG_USEC": "5000000"}, 5_000_000_000),
        ({"WATCHDOG_USEC": "5000000", "WATCHDOG_PID": str(os.getpid())}, 5_000_000_000),
        ({"WATCHDOG_USEC": "5000000", "WATCHDOG_PID": "1"}, None),
        ({"WATCHDOG_USEC": "0"}, None),
        ({"WATCHDOG_USEC": "soon"}, None),
        ({}, None),
    ],
)
def test_the_watchdogs_limit_is_read_if_it_is_meant_for_us(environment, limit_ns):
    assert watchdog_limit_ns(environment) == limit_ns
