"""The guard's channel against real sockets that are full, gone, or say nothing sensible."""

import time

import pytest

from rover.guard.callers import FORGET_NS, Callers
from rover.guard.client import GuardChannel
from rover.guard.protocol import MOST_BYTES, Answer, Ask, Received, Request, Ruling
from rover.guard.settings import SOCKET_NAME

ANSWER = Answer(1, 1, Ruling.ACCEPTED, 0.0, 0.0, 0)


@pytest.fixture
def callers(folder):
    callers = Callers(folder / SOCKET_NAME)
    yield callers
    callers.close()


@pytest.fixture
def channel(folder, callers):
    channel = GuardChannel(folder)
    yield channel
    channel.close()


def test_what_a_client_says_comes_in_order_with_its_address(callers, channel):
    channel.ask(Ask.HELLO)
    channel.ask(Ask.STOP, "why")
    first, second = callers.receive(0)
    assert first.address == second.address
    assert [first.value, second.value] == [
        Request(channel.session, Ask.HELLO),
        Request(channel.session, Ask.STOP, "why"),
    ]


def test_a_full_client_is_left_out_and_holds_nobody_up(callers, channel):
    channel.ask(Ask.HELLO)
    (incoming,) = callers.receive(0)
    sent = 0
    while callers.send(incoming.address, ANSWER):
        sent += 1
        assert sent < 10_000
    assert not callers.is_idle()
    assert len(channel.receive()) == sent
    assert callers.send(incoming.address, ANSWER)


def test_a_client_that_is_gone_is_forgotten(callers, folder):
    channel = GuardChannel(folder)
    channel.ask(Ask.HELLO)
    callers.receive(0)
    channel._socket.close()
    channel._own.unlink()
    callers.send_all(ANSWER)
    assert callers.is_idle()


def test_a_client_that_is_silent_is_forgotten(callers, channel):
    channel.ask(Ask.HELLO)
    callers.receive(0)
    callers.forget(FORGET_NS)
    assert not callers.is_idle()
    callers.forget(FORGET_NS + 1)
    assert callers.is_idle()


def test_a_client_that_says_goodbye_is_forgotten_at_once(callers, channel):
    channel.ask(Ask.HELLO)
    channel.ask(Ask.GOODBYE)
    callers.receive(0)
    assert callers.is_idle()


def test_bytes_go_only_to_those_who_listen(callers, folder, channel):
    listener = GuardChannel(folder)
    channel.ask(Ask.HELLO)
    listener.ask(Ask.LISTEN)
    callers.receive(0)
    callers.pass_on(b"abc", 42)
    assert listener.receive() == [Received(42, 0, b"abc")]
    assert channel.receive() == []
    listener.close()


def test_bytes_for_a_listener_that_sleeps_wait_and_keep_their_time(callers, channel):
    channel.ask(Ask.LISTEN)
    callers.receive(0)
    for index in range(100):
        callers.pass_on(b"%02d" % index, index)
    taken = channel.receive()
    while len(taken) < 100:
        callers.pass_on(b"", 100)
        more = channel.receive()
        assert more
        taken += more
    taken = [received for received in taken if received.data]
    assert [received.received_ns for received in taken] == list(range(100))
    assert all(received.lost == 0 for received in taken)


def test_a_listener_that_sleeps_long_learns_how_much_it_lost(callers, channel):
    channel.ask(Ask.LISTEN)
    callers.receive(0)
    for index in range(1000):
        callers.pass_on(b"%03d" % index, index)
    taken = []
    for _ in range(1000):
        taken += channel.receive()
        callers.pass_on(b"+", 1000)
    taken += channel.receive()
    lost = sum(received.lost for received in taken)
    assert lost > 0
    assert lost + sum(len(received.data) for received in taken if received.data != b"+") == 3000


def test_a_long_chunk_is_cut(callers, channel):
    channel.ask(Ask.LISTEN)
    callers.receive(0)
    callers.pass_on(b"x" * (MOST_BYTES + 1), 1)
    assert [len(received.data) for received in channel.receive()] == [MOST_BYTES, 1]


def test_a_flood_from_one_client_does_not_keep_the_loop(callers, channel):
    """Each turn takes a bounded number."""
    for _ in range(20):
        channel.ask(Ask.HELLO)
        time.sleep(0)
    assert 1 <= len(callers.receive(0)) <= 256
    assert channel.unsent <= 20
