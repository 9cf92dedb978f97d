"""How often a real guard wakes while it is commanded and its line says much."""

import time
from pathlib import Path

import pytest

from rover.guard.protocol import Ask
from rover.guard.settings import LOCK_NAME

pytestmark = pytest.mark.real_time


def test_it_wakes_for_commands_and_not_for_every_few_bytes_of_the_line(bay, eventually):
    """The line delivers some 300 pieces a second; a turn reads what has gathered. Counted is how often it slept."""
    client = bay.start()
    guard = int((bay.channel / LOCK_NAME).read_text().split()[1])
    client.ask(Ask.LISTEN)
    bay.get_going(client)
    before, commands = sleeps(guard), 0
    while commands < 100:
        bay.command(client)
        client.poll()
        commands += 1
        time.sleep(0.02)
    assert sleeps(guard) - before <= 3 * commands


def sleeps(process: int) -> int:
    status = dict(line.split(":", 1) for line in Path(f"/proc/{process}/status").read_text().splitlines())
    return int(status["voluntary_ctxt_switches"])
