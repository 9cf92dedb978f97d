"""The guard's output in a thread, between the runtime's drivers and the emulated co-processor, at a faster pace."""

import time
from contextlib import closing

import pytest

from rover.devices.protocols import DriverContext
from rover.devices.readings import DriveCommand, JawsCommand
from rover.files.robot import Robot
from rover.guard.drivers import drivers_by_guard
from rover.guard.in_process import GuardThread
from rover.guard.launch import settings_of
from rover.link import Link
from rover.link.emulated_firmware import Firmware
from rover.link.emulator import Emulator
from rover.link.sentences import CountsReport

from .conftest import Stand

pytestmark = pytest.mark.real_time

PACE = 4
MS = 1_000_000


class Rig:
    """A machine on a stand; its co-processor has no deadline of its own, so that the guard's is what is seen."""

    def __init__(self, folder):
        start_ns = time.monotonic_ns()
        self.now_ns = lambda: (time.monotonic_ns() - start_ns) * PACE
        self.machine = Stand()
        self.emulator = Emulator(self.machine, folder / "main", self.now_ns, Firmware(deadline_ms=None))
        on_link = {"driver": "co_processor", "link": "main"}
        body = {"wheel_diameter": "72 mm", "track": "240 mm", "counts_per_rev": 1320, "gripper_reach": "14 cm"}
        jaws = {**on_link, "open": "1.9 ms", "closed": "1.1 ms", "feedback": "position"}
        robot = Robot.model_validate(
            {
                "robot": "Cart",
                "body": body,
                "links": {"main": {"port": str(folder / "main")}},
                "devices": {"drive": {**on_link, "swap_sides": True}, "counts": on_link, "gripper": jaws},
            }
        )
        self.guard = GuardThread(settings_of(robot), self.now_ns, PACE)
        self.link = Link(self.guard, 115200)
        context = DriverContext(robot, 1, {"main": self.link})
        self.drivers = drivers_by_guard(context, self.guard.settings, self.guard)
        self._sequence = 0

    def command(self, left, right, opening=None, lasts_ms=250):
        self._sequence += 1
        expires_ns = self.now_ns() + lasts_ms * MS
        self.drivers["gripper"].apply(JawsCommand(opening, self._sequence, expires_ns), self.now_ns())
        self.drivers["drive"].apply(DriveCommand(left, right, self._sequence, expires_ns), self.now_ns())

    def duty(self):
        return self.emulator.applied[-1][1:]

    def close(self):
        self.link.close()
        self.emulator.close()


@pytest.fixture
def rig(folder):
    with closing(Rig(folder)) as rig:
        yield rig


def test_wheels_and_jaws_get_what_is_commanded_and_the_link_hears_the_rest(rig, eventually):
    box = rig.link.mailbox(CountsReport)
    eventually(lambda: rig.command(0.5, 0.25, opening=0.25) or rig.duty() == (0.25, 0.5))
    eventually(lambda: rig.command(0.5, 0.25, opening=0.25) or (0.0013 in [pulse for pulse, _ in rig.machine.pulses]))
    eventually(lambda: any(reading.value.left for reading in box.take()))
    assert eventually(lambda: rig.drivers["gripper"].poll(0))[-1].value.opening == pytest.approx(0.25)


def test_a_command_ends_when_it_said_it_would(rig, eventually):
    eventually(lambda: rig.command(0.5, 0.5) or rig.duty() == (0.5, 0.5))
    rig.command(0.3, 0.3, lasts_ms=200)
    given_ns = rig.now_ns()
    eventually(lambda: rig.duty() == (0.0, 0.0))
    assert rig.emulator.applied[-1].now_ns - given_ns <= 300 * MS


def test_a_line_that_was_away_is_driven_on(rig, eventually):
    eventually(lambda: rig.command(0.5, 0.5) or rig.duty() == (0.5, 0.5))
    rig.emulator.unplug(2.0)
    rig.emulator.reboot()
    eventually(lambda: rig.command(0.5, 0.5) or rig.duty() == (0.5, 0.5))


def test_closing_leaves_the_wheels_at_zero_and_takes_no_more(rig, eventually):
    eventually(lambda: rig.command(0.5, 0.5) or rig.duty() == (0.5, 0.5))
    rig.guard.close()
    rig.guard.close()
    eventually(lambda: rig.duty() == (0.0, 0.0))
    assert not rig.guard.command(DriveCommand(0.5, 0.5, 10_000, rig.now_ns() + 250 * MS))
