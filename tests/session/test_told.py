"""Who is elsewhere is told of a run on the robot: of a stop while it drives, and of its end though it was killed."""

import signal
import sys

import pytest
import yaml

from rover.guard.client import stop_now

pytestmark = pytest.mark.real_time

KEEP = "import sys; print(sys.stdin.read(), file=open(sys.argv[1], 'a'))"


def test_a_stop_is_told_and_so_is_a_run_that_was_killed(stand):
    person, told = stand.folder / "person.yaml", stand.folder / "told"
    command = [sys.executable, "-c", KEEP, str(told)]
    person.write_text(yaml.safe_dump({"person": "Me", "commands": {"tell": command}}, sort_keys=False))
    person.chmod(0o600)
    stand.straight_on()
    stand.write("straight.yaml", notices={"command": "tell"})
    stand.emulate()
    run = stand.start("--enable-motion", ROVER_PERSON=str(person))
    stand.wait_until_moving()
    stop_now(stand.guard, "somebody pressed stop")
    stand.wait_for(
        lambda: told.exists() and "Stopped: " in told.read_text(), lambda: f"the stop told; said: {stand.said}"
    )
    assert "Subject: On the stand: stopped\n" in told.read_text()
    assert "somebody pressed stop" in told.read_text()
    run.send_signal(signal.SIGKILL)
    stand.wait_for(lambda: "Subject: On the stand: cut off, 0 delivered\n" in told.read_text(), "the end told")
