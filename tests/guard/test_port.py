import time

import pytest

from rover.devices.counts.co_processor import Counts
from rover.devices.protocols import DriverContext
from rover.devices.readings import WheelCounts
from rover.files.robot import Robot
from rover.guard.client import GuardError
from rover.guard.port import GuardPort
from rover.link import Link

pytestmark = pytest.mark.real_time

ROBOT = Robot.model_validate(
    {
        "robot": "Cart",
        "body": {"wheel_diameter": "72 mm", "track": "240 mm", "counts_per_rev": 1320, "gripper_reach": "14 cm"},
        "links": {"main": {"port": "main"}},
        "devices": {
            "drive": {"driver": "co_processor", "link": "main"},
            "counts": {"driver": "co_processor", "link": "main"},
        },
    }
)


@pytest.fixture
def port(bay):
    bay.start()
    port = GuardPort(bay.channel)
    yield port
    port.close()


def test_drivers_on_a_link_read_what_the_guard_received(bay, port, eventually):
    link = Link(port, 115200)
    counts = Counts(ROBOT.devices.counts.options, DriverContext(ROBOT, 1, {"main": link}))
    client = bay.client()
    before_ns = time.monotonic_ns()
    bay.get_going(client)
    seen = []
    eventually(lambda: bay.command(client) or seen.extend(counts.poll(0)) or (link.counts.lines > 20 and seen))
    assert isinstance(seen[-1].value, WheelCounts)
    assert [reading.sequence for reading in seen] == sorted(reading.sequence for reading in seen)
    assert before_ns < seen[-1].taken_ns <= time.monotonic_ns()
    assert seen[-1].value.left > 0
    assert link.counts.lost == 0


def test_a_subscriber_that_fails_keeps_no_other_from_its_lines(port, eventually):
    lines = []
    port.subscribe(lambda line, received_ns: 1 / 0)
    port.subscribe(lambda line, received_ns: lines.append(line))
    eventually(lambda: len(lines) > 3 and port.counts.subscriber_errors > 3)


def test_a_port_outlives_the_guard_and_goes_on_with_the_next(bay, port, eventually):
    lines = []
    port.subscribe(lambda line, received_ns: lines.append(line))
    eventually(lambda: lines)
    bay.process.close()
    lines.clear()
    bay.start()
    eventually(lambda: lines)


def test_without_a_guard_there_is_no_port(folder):
    with pytest.raises(GuardError, match="no motor guard"):
        GuardPort(folder / "nowhere")
