"""The guard's door against real sockets that are full, gone, or say nothing sensible."""

import time

import pytest

from rover.guard.callers import FORGET_NS, Clients
from rover.guard.channel import Door
from rover.guard.protocol import MOST_BYTES, Answer, Ask, Received, Request, Verdict
from rover.guard.settings import SOCKET

ANSWER = Answer(1, 1, Verdict.ACCEPTED, 0.0, 0.0, 0)


@pytest.fixture
def clients(folder):
    clients = Clients(folder / SOCKET)
    yield clients
    clients.close()


@pytest.fixture
def door(folder, clients):
    door = Door(folder)
    yield door
    door.close()


def test_what_a_client_says_comes_in_order_with_its_address(clients, door):
    door.ask(Ask.HELLO)
    door.ask(Ask.STOP, "why")
    first, second = clients.receive(0)
    assert first.address == second.address
    assert [first.value, second.value] == [
        Request(door.session, Ask.HELLO),
        Request(door.session, Ask.STOP, "why"),
    ]


def test_a_full_client_is_left_out_and_holds_nobody_up(clients, door):
    door.ask(Ask.HELLO)
    (incoming,) = clients.receive(0)
    sent = 0
    while clients.send(incoming.address, ANSWER):
        sent += 1
        assert sent < 10_000
    assert not clients.is_idle()
    assert len(door.receive()) == sent
    assert clients.send(incoming.address, ANSWER)


def test_a_client_that_is_gone_is_forgotten(clients, folder):
    door = Door(folder)
    door.ask(Ask.HELLO)
    clients.receive(0)
    door._socket.close()
    door._own.unlink()
    clients.send_all(ANSWER)
    assert clients.is_idle()


def test_a_client_that_is_silent_is_forgotten(clients, door):
    door.ask(Ask.HELLO)
    clients.receive(0)
    clients.receive(FORGET_NS)
    assert not clients.is_idle()
    clients.receive(FORGET_NS + 1)
    assert clients.is_idle()


def test_a_client_that_says_goodbye_is_forgotten_at_once(clients, door):
    door.ask(Ask.HELLO)
    door.ask(Ask.GOODBYE)
    clients.receive(0)
    assert clients.is_idle()


def test_bytes_go_only_to_those_who_listen(clients, folder, door):
    listener = Door(folder)
    door.ask(Ask.HELLO)
    listener.ask(Ask.LISTEN)
    clients.receive(0)
    clients.pass_on(b"abc", 42)
    assert listener.receive() == [Received(42, 0, b"abc")]
    assert door.receive() == []
    listener.close()


def test_bytes_for_a_listener_that_sleeps_wait_and_keep_their_time(clients, door):
    door.ask(Ask.LISTEN)
    clients.receive(0)
    for index in range(100):
        clients.pass_on(b"%02d" % index, index)
    taken = door.receive()
    while len(taken) < 100:
        clients.pass_on(b"", 100)
        more = door.receive()
        assert more
        taken += more
    taken = [received for received in taken if received.data]
    assert [received.received_ns for received in taken] == list(range(100))
    assert all(received.lost == 0 for received in taken)


def test_a_listener_that_sleeps_long_learns_how_much_it_lost(clients, door):
    door.ask(Ask.LISTEN)
    clients.receive(0)
    for index in range(1000):
        clients.pass_on(b"%03d" % index, index)
    taken = []
    for _ in range(1000):
        taken += door.receive()
        clients.pass_on(b"+", 1000)
    taken += door.receive()
    lost = sum(received.lost for received in taken)
    assert lost > 0
    assert lost + sum(len(received.data) for received in taken if received.data != b"+") == 3000


def test_a_long_chunk_is_cut(clients, door):
    door.ask(Ask.LISTEN)
    clients.receive(0)
    clients.pass_on(b"x" * (MOST_BYTES + 1), 1)
    assert [len(received.data) for received in door.receive()] == [MOST_BYTES, 1]


def test_a_flood_from_one_client_does_not_keep_the_loop(clients, door):
    """Each turn takes a bounded number."""
    for _ in range(20):
        door.ask(Ask.HELLO)
        time.sleep(0)
    assert 1 <= len(clients.receive(0)) <= 256
    assert door.unsent <= 20
