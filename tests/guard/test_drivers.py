"""The runtime's drivers through a real guard to the emulated co-processor."""

import time
from contextlib import closing

import pytest

from rover.devices.gripper.keys import CoProcessorGripperKeys
from rover.devices.protocols import Actuator, DriverContext, Sensor
from rover.devices.readings import DriveCommand, JawsCommand, StopInputValue
from rover.guard.client import Wheels
from rover.guard.drivers import LinkJaws, PinJaws, StopInput
from rover.guard.port import GuardPort
from rover.link import Link

from .test_port import ROBOT

pytestmark = pytest.mark.real_time

LASTS_NS = 250_000_000
JAWS = CoProcessorGripperKeys(link="main").options


def drive(sequence: int, duty: float = 0.5) -> DriveCommand:
    return DriveCommand(duty, 0.4, sequence, time.monotonic_ns() + LASTS_NS)


def jaws(sequence: int, opening: float | None) -> JawsCommand:
    return JawsCommand(opening, sequence, time.monotonic_ns() + LASTS_NS)


@pytest.fixture
def client(bay, eventually):
    client = bay.start(servo=JAWS)
    bay.get_going(client)
    return client


@pytest.fixture
def wheels(client):
    return Wheels(client)


def test_wheels_turn_and_are_closed_at_zero(bay, wheels, eventually):
    assert isinstance(wheels, Actuator)
    wheels.apply(drive(20_000, 0.7), time.monotonic_ns())
    eventually(lambda: bay.duty() == (0.7, 0.4))
    wheels.close()
    eventually(lambda: bay.duty() == (0.0, 0.0))


def test_jaws_on_the_link_move_with_the_wheels_commands(bay, wheels, eventually):
    port = GuardPort(bay.channel)
    link = Link(port, 115200)
    gripper = LinkJaws({**JAWS, "feedback": "position"}, DriverContext(ROBOT, 1, {"main": link}), wheels)
    assert isinstance(gripper, Actuator)
    gripper.apply(jaws(1, 0.25), 0)
    wheels.apply(drive(20_000), time.monotonic_ns())
    opening = []
    eventually(lambda: opening.extend(reading.value.opening for reading in gripper.poll(0)) or 0.25 in opening)
    gripper.close()
    port.close()


def test_jaws_on_pins_are_slewed_into_pulses(bay, wheels, eventually):
    gripper = PinJaws({**JAWS, "travel_time": 1.0}, wheels)
    assert isinstance(gripper, Actuator)
    assert isinstance(gripper, Sensor)
    gripper.apply(jaws(1, 1.0), 0)
    gripper.apply(jaws(2, 0.0), 0)
    gripper.apply(jaws(3, 0.0), 500_000_000)
    wheels.apply(drive(20_000), time.monotonic_ns())
    eventually(lambda: bay.machine.sample(time.monotonic_ns()).opening == pytest.approx(0.5))
    assert gripper.poll(0) == ()
    gripper.close()


def test_jaws_on_the_link_push_for_so_long_and_then_go_limp(bay, wheels):
    with closing(GuardPort(bay.channel)) as port:
        link = Link(port, 115200)
        gripper = LinkJaws(
            {**JAWS, "travel_time": 1.0, "push_for": 2.0}, DriverContext(ROBOT, 1, {"main": link}), wheels
        )
        sent = []
        wheels.carry = lambda pulse_us, expires_ns: sent.append(pulse_us)
        gripper.apply(jaws(1, 1.0), 0)
        for at_s in (0.0, 0.5, 1.0, 2.9, 3.1):
            gripper.apply(jaws(2, 0.0), round(at_s * 1e9))
    assert sent == [1900, 1900, 1500, 1100, 1100, 0]


def test_a_pulse_whose_time_is_over_stays_at_home(client, wheels):
    wheels.carry(1500, 100)
    sent = []
    client.command = lambda drive, pulse_us: sent.append(pulse_us)
    wheels.apply(drive(1), 99)
    wheels.apply(drive(2), 100)
    assert sent == [1500, None]


def test_the_stop_input_is_told_once_for_each_word_of_the_guard(client, eventually):
    stop = StopInput(client)
    assert isinstance(stop, Sensor)
    eventually(lambda: client.hello() and client.poll() and client.state)
    (reading,) = stop.poll(0)
    assert reading.value == StopInputValue(True)
    assert reading.taken_ns == client.state.now_ns
    assert stop.poll(0) == ()
    stop.close()
