"""A line that falls silent or sends garbage while the co-processor, without a deadline of its own, still obeys."""

import random
import time

import pytest

from rover.devices.readings import DriveCommand
from rover.guard.protocol import Ruling
from rover.stopping import Phase

pytestmark = pytest.mark.real_time

ALLOWED_NS = 300_000_000


class Upwards:
    """What becomes of the sentences on their way up from now on; downwards all is well."""

    def __init__(self, bay, change) -> None:
        self._write, self._change = bay.emulator._plug.write, change
        bay.emulator._plug.write = self._pass
        self.sent = 0

    def _pass(self, pieces):
        self.sent += sum(piece.count(b"$") for piece in pieces)
        self._write([self._change(piece) for piece in pieces])


def silent(piece):
    return b""


def garbage(piece):
    return bytes(random.Random(len(piece)).choices(range(256), k=len(piece)))


def wrong_baud(piece):
    """All bits set but the lowest ones: it looks like text now and then."""
    return bytes(0xF8 | byte & 7 for byte in piece)


def one_bit_wrong(piece):
    return bytes(byte ^ 1 for byte in piece)


@pytest.mark.parametrize("change", [silent, garbage, wrong_baud, one_bit_wrong])
def test_the_wheels_are_stopped_within_300_ms_and_stay_so(bay, eventually, change):
    client = bay.start()
    bay.get_going(client)
    going_ns = time.monotonic_ns()
    eventually(lambda: bay.command_at_leisure(client) or time.monotonic_ns() - going_ns > ALLOWED_NS)
    Upwards(bay, change)
    from_ns = time.monotonic_ns()
    eventually(lambda: bay.command_at_leisure(client) or bay.duty() == (0.0, 0.0))
    assert bay.emulator.applied[-1].now_ns - from_ns <= ALLOWED_NS
    eventually(lambda: bay.command(client) or bay.phase(client) is Phase.STOPPED)
    assert "has not been understood for 220 ms" in client.state.cause
    del bay.emulator._plug.write
    eventually(lambda: client.hello() and client.poll() and client.state.output_open)
    eventually(lambda: bay.command(client) or (client.poll() and client.answer.verdict))
    assert bay.duty() == (0.0, 0.0), "the stop is latched"


def test_one_sentence_in_ten_damaged_stops_nothing(bay, eventually):
    """Each byte of these is as likely to be hit as in a sentence of 50 characters of which one in ten is damaged."""
    client = bay.start()
    bay.get_going(client)
    chance = random.Random(4)
    upwards = Upwards(bay, lambda piece: bytes(byte ^ (chance.random() < 0.1 / 50) for byte in piece))
    eventually(lambda: bay.command_at_leisure(client) or upwards.sent > 500)
    assert bay.phase(client) is Phase.RUNNING
    assert bay.duty() == (0.5, 0.4)


def test_wheels_that_stand_are_not_stopped_by_a_moment_of_silence(bay, eventually):
    client = bay.start()
    bay.get_going(client)
    eventually(lambda: bay.duty() == (0.0, 0.0))
    upwards = Upwards(bay, silent)
    from_ns = time.monotonic_ns()

    def stand():
        now_ns = time.monotonic_ns()
        client.command(DriveCommand(0.0, 0.0, now_ns // 1_000_000, now_ns + ALLOWED_NS))
        return bay.phase(client) is not Phase.RUNNING or now_ns - from_ns > ALLOWED_NS

    eventually(stand)
    assert upwards.sent
    assert bay.phase(client) is Phase.RUNNING
    assert client.answer.verdict is Ruling.ACCEPTED
