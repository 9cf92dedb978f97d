"""The channel between runtime and page: whole messages, in order, and nobody waits."""

from collections.abc import Iterator

import pytest

from rover.page.channel import MOST_KEPT, Channel, pair

Ends = tuple[Channel, Channel]


@pytest.fixture
def ends() -> Iterator[Ends]:
    here, socket = pair()
    there = Channel(socket)
    yield here, there
    here.close()
    there.close()


def test_messages_arrive_whole_and_in_order(ends: Ends) -> None:
    here, there = ends
    here.send(b"one")
    here.send_or_drop(b"two")
    assert there.receive() == [b"one", b"two"]
    assert there.receive() == []
    assert not there.is_closed


def test_what_is_fleeting_is_dropped_and_the_rest_kept_where_nobody_reads(ends: Ends) -> None:
    here, there = ends
    for number in range(2000):
        here.send_or_drop(b"fleeting" + bytes(1000))
        if number % 200 == 0:
            here.send(b"kept %d" % number)
    heard = there.receive()
    here.send_or_drop(b"fleeting at last")
    heard += there.receive()
    assert [one for one in heard if one.startswith(b"kept")] == [b"kept %d" % number for number in range(0, 2000, 200)]
    assert sum(one.startswith(b"fleeting") for one in heard) < 1000
    assert heard[-1] == b"fleeting at last"


def test_of_what_is_kept_the_oldest_goes_first(ends: Ends) -> None:
    here, there = ends
    for number in range(5000):
        here.send(b"%d " % number + bytes(1000))
    heard = there.receive()
    for _ in range(20):
        here.send_or_drop(b"5000 ")
        heard += there.receive()
    numbers = [int(one.split()[0]) for one in heard]
    assert numbers == sorted(numbers)
    assert set(range(5000 - MOST_KEPT, 5000)) <= set(numbers)
    assert len(numbers) < 3000


def test_a_message_too_large_to_be_sent_holds_nothing_up(ends: Ends) -> None:
    here, there = ends
    here.send(bytes(10_000_000))
    here.send(b"the next")
    assert there.receive() == [b"the next"]


def test_either_end_notices_that_the_other_is_gone(ends: Ends) -> None:
    here, there = ends
    there.send(b"last words")
    there.close()
    assert here.receive() == [b"last words"]
    assert here.is_closed
    here.send(b"to nobody")
    here.send_or_drop(b"to nobody")
