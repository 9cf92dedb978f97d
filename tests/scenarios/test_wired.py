"""One jar with bytes through a pseudo-terminal, on real threads: not exact by the seed, but delivered."""

import pytest

from rover.events import HealthChange
from rover.guard.client import Wheels
from rover.guard.drivers import LinkJaws

# Nothing that only luck decides: the wired bench runs on the computer's own clock.
STEADY = {"gripper": {"missed": 0, "dropped": 0}, "link": {"stall_every": "0 s"}}
ALL_IN = ("done", "all_in", 1)


@pytest.fixture
def wired_errand(files, small_bay):
    """A busy computer keeps threads waiting: each time the wheels stand still, which must not add up to a stop."""
    robot = files.robot | {"limits": files.robot["limits"] | {"hold_backs": 10_000}}
    return files.errand({"objects": [small_bay.JAR], **STEADY}, robot=robot)


def test_a_jar_is_delivered_through_the_serial_line(small_bay, wired_errand):
    drivers = []

    def watch(rehearsal):
        drivers.extend(map(rehearsal.drivers.made, ("drive", "gripper")))
        return lambda robot_time_s, state, delivered: None

    done = small_bay.rehearse(wired_errand, 2, wired=True, watch=watch)
    assert done.ended == ALL_IN
    assert done.run.header["host"] == "wired bench"
    assert [type(driver) for driver in drivers] == [Wheels, LinkJaws], "commanded as on the robot"


def test_a_line_unplugged_in_mid_run_is_survived(small_bay, wired_errand):
    pulled = []

    def watch(rehearsal):
        def progress(robot_time_s, state, delivered):
            if robot_time_s > 6.0 and not pulled:
                pulled.append(state)
                rehearsal.wiring.emulators["main"].unplug(2.0)

        return progress

    done = small_bay.rehearse(wired_errand, 2, wired=True, watch=watch)
    assert pulled
    assert done.ended == ALL_IN
    health = [change.health.value for change in done.run.events_of(HealthChange) if change.device == "counts"]
    assert health[:3] == ["ok", "overdue", "ok"]
