"""The drivers against the emulated co-processor, both byte for byte, with time passed in."""

import math

import pytest

from rover.devices.battery.co_processor import Battery
from rover.devices.counts.co_processor import Counts, counts_between
from rover.devices.counts.keys import CoProcessorCountsKeys
from rover.devices.gripper.co_processor import Gripper
from rover.devices.heading.co_processor import Heading
from rover.devices.heading.keys import CoProcessorHeadingKeys
from rover.devices.protocols import DriverContext, Sensor
from rover.devices.readings import BatteryValue, HeadingValue, JawsValue, WheelCounts
from rover.devices.sides import Sides
from rover.link import Link
from rover.link.codec import encode
from rover.link.emulated_firmware import CoProcessor, Firmware
from rover.link.emulated_hardware import EmulatedHardware, HardwareState
from rover.link.port import LinePort
from rover.link.sentences import CountsReport, HeadingReport

MS = 1_000_000
SECOND = 1_000_000_000
OPTIONS = CoProcessorHeadingKeys(link="main").options | CoProcessorCountsKeys(link="main").options


class Machine(EmulatedHardware):
    """Whatever the test sets."""

    def __init__(self):
        self.state = HardwareState(0, 0, 0.0, 0.0, 3, 12.0, 1.5, None, None)

    def sample(self, now_ns):
        return self.state

    def drive(self, left, right, now_ns):
        pass

    def servo(self, pulse_s, now_ns):
        pass


class Bench:
    """A link whose port leads straight to an emulated co-processor; time stands until `run`."""

    def __init__(self):
        self.now_ns = 0
        self.machine = Machine()
        self.processor = CoProcessor(self.machine, 0, Firmware(deadline_ms=250))
        self._port = LinePort("test")
        self.link = Link(self._port, 115200)
        self.context = DriverContext(robot=None, seed=0, links={"main": self.link})

    def hear(self, stream):
        self._port.feed(stream, self.now_ns)

    def run(self, ms):
        for _ in range(ms):
            self.now_ns += MS
            self.hear(self.processor.due(self.now_ns))


@pytest.fixture
def bench():
    return Bench()


def test_the_drivers_fit_the_interface(bench):
    for driver in (Counts, Heading, Battery, Gripper):
        assert isinstance(driver(OPTIONS | {"feedback": "none"}, bench.context), Sensor)


@pytest.mark.parametrize("options", [OPTIONS | {"link": None}, OPTIONS | {"link": "other"}])
def test_a_link_that_is_not_there_is_told(bench, options):
    with pytest.raises(ValueError, match="driver 'co_processor' needs 'link:', one of main"):
        Counts(options, bench.context)


def _poll_counts(bench, options=OPTIONS, *states):
    driver = Counts(options, bench.context)
    for left, right in states:
        bench.machine.state = bench.machine.state._replace(left=left, right=right)
        bench.run(20)
    return [reading.value for reading in driver.poll(bench.now_ns)]


def test_counts_go_on_through_the_32_bit_wrap(bench):
    near = 2**31 - 10

    values = _poll_counts(bench, OPTIONS, (near, -near), (near + 30, -near - 30), (near + 60, -near - 60))

    assert values[-1] == WheelCounts(near + 60, -near - 60, 1)


def test_after_a_reboot_the_wraps_before_it_are_forgotten(bench):
    driver = Counts(OPTIONS, bench.context)
    bench.hear(encode(CountsReport(0, 0, 1, 2**31 - 1, 0)))
    bench.hear(encode(CountsReport(1, 20, 1, -(2**31) + 100, 0)))
    bench.hear(encode(CountsReport(0, 0, 2, -50, 0)))

    assert [reading.value.left for reading in driver.poll(0)] == [2**31 - 1, 2**31 + 100, -50]


def test_the_sequence_counts_on_through_wraps_and_reboots(bench):
    driver = Counts(OPTIONS, bench.context)
    for sequence, boot in [(65534, 1), (65535, 1), (1, 1), (40000, 2), (40001, 2), (0, 3)]:
        bench.hear(encode(CountsReport(sequence, 0, boot, 0, 0)))

    assert [reading.sequence for reading in driver.poll(0)] == [1, 2, 4, 5, 6, 7]


@pytest.mark.parametrize(
    ("options", "expected"),
    [
        ({}, (70, 30)),
        ({"swap_sides": True}, (30, 70)),
        ({"reverse_left": True}, (-70, 30)),
        ({"reverse_right": True}, (70, -30)),
        ({"swap_sides": True, "reverse_left": True}, (-30, 70)),
    ],
)
def test_sides_as_the_robot_file_has_them(bench, options, expected):
    values = _poll_counts(bench, OPTIONS | options, (0, 0), (70, 30))

    assert values[-1] == WheelCounts(*expected, 1)


@pytest.mark.parametrize("swap", [False, True])
@pytest.mark.parametrize("left", [False, True])
@pytest.mark.parametrize("right", [False, True])
def test_counts_run_the_way_that_the_drive_is_told(swap, left, right):
    sides = Sides({"swap_sides": swap, "reverse_left": left, "reverse_right": right})

    assert sides.from_channels(*sides.to_channels(3, -5)) == (3, -5)


def test_lost_sentences_lose_no_counts(bench):
    driver = Counts(OPTIONS, bench.context)
    bench.hear(encode(CountsReport(0, 0, 1, 100, 100)))
    bench.hear(encode(CountsReport(40, 800, 1, 900, 950)))

    first, second = driver.poll(bench.now_ns)

    assert second.value == WheelCounts(900, 950, 1)
    assert second.sequence - first.sequence == 40


def test_a_reboot_gives_a_new_boot_and_counts_from_zero(bench):
    driver = Counts(OPTIONS, bench.context)
    bench.machine.state = bench.machine.state._replace(left=500, right=500)
    bench.run(40)
    bench.processor.reboot(bench.now_ns)
    bench.run(40)

    values = [reading.value for reading in driver.poll(bench.now_ns)]

    assert values[0] == WheelCounts(500, 500, 1)
    assert values[-1] == WheelCounts(0, 0, 2)


def test_a_board_that_forgets_its_boot_number_still_shows_the_restart(bench):
    driver = Counts(OPTIONS, bench.context)
    bench.hear(encode(CountsReport(9, 60_000, 1, 800, 800)))
    bench.hear(encode(CountsReport(0, 20, 1, 3, 3)))

    assert [reading.value.boot for reading in driver.poll(0)] == [1, 2]


@pytest.mark.parametrize(
    ("earlier", "later", "between"),
    [(5, 9, 4), (9, 5, -4), (2**31 - 1, -(2**31), 1), (-(2**31), 2**31 - 1, -1)],
)
def test_counts_between_takes_the_shorter_way(earlier, later, between):
    assert counts_between(earlier, later) == between


def test_heading_is_in_the_field_frame_with_the_offset_added(bench):
    driver = Heading(OPTIONS | {"offset": 0.1}, bench.context)
    bench.machine.state = bench.machine.state._replace(heading=3.1, rate=0.5, calibration=2)
    bench.run(1)

    (reading,) = driver.poll(bench.now_ns)

    assert reading.value.angle == pytest.approx(3.2 - 2 * math.pi, abs=1e-4)
    assert reading.value.rate == pytest.approx(0.5, abs=1e-4)
    assert reading.value.calibration == 2


def test_a_sensor_without_heading_gives_no_reading(bench):
    driver = Heading(OPTIONS, bench.context)
    bench.hear(encode(HeadingReport(0, 0, 1, None, 5, 0)))
    bench.hear(encode(HeadingReport(1, 50, 1, 9000, None, None)))

    (reading,) = driver.poll(0)

    assert reading.value == HeadingValue(pytest.approx(0.0), None, None)


def test_battery_in_volts_and_amperes(bench):
    driver = Battery(OPTIONS, bench.context)
    bench.run(1)

    assert driver.poll(bench.now_ns)[0].value == BatteryValue(12.0, 1.5)


def test_what_was_polled_is_not_polled_again(bench):
    driver = Battery(OPTIONS, bench.context)
    bench.run(1)

    assert len(driver.poll(bench.now_ns)) == 1
    assert driver.poll(bench.now_ns) == []


@pytest.mark.parametrize(("feedback", "values"), [("position", [JawsValue(0.4, True)]), ("none", [])])
def test_jaws_report_where_the_robot_file_says_they_can(bench, feedback, values):
    gripper = Gripper(OPTIONS | {"feedback": feedback}, bench.context)
    bench.machine.state = bench.machine.state._replace(opening=0.4, holding=True)
    bench.run(1)

    assert [reading.value for reading in gripper.poll(bench.now_ns)] == values
