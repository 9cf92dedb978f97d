"""The compass driver behind a real pseudo-terminal, on which the test writes what a compass sends."""

import math
import os
import time
import tty

import pytest

from rover.devices.heading.compass import Heading
from rover.devices.heading.keys import CompassKeys
from rover.devices.protocols import DriverContext, Sensor
from rover.files.robot import SerialLink
from rover.link import open_link
from rover.link.framing import frame

OPTIONS = CompassKeys(link="aft").options


@pytest.fixture
def compass():
    """Return the compass's end of the line, and the host whose link has the other end."""
    device, far = os.openpty()
    tty.setraw(far)
    link = open_link(SerialLink(port=os.ttyname(far), baud=4800))
    yield device, DriverContext(robot=None, seed=0, links={"aft": link})
    link.close()
    os.close(device)
    os.close(far)


def _read(compass, bodies, number, offset=0.0):
    """Return the first ``number`` values that the driver gives for these sentences, polled again and again."""
    device, context = compass
    driver, values = Heading(OPTIONS | {"offset": offset}, context), []
    os.write(device, b"".join(map(frame, bodies)))
    for _ in range(20_000):
        values += [reading.value for reading in driver.poll(0)]
        if len(values) >= number:
            return values
        time.sleep(0.001)
    raise AssertionError(f"only {values} came")


def _angles(*compass_degrees):
    return [pytest.approx(math.radians(90.0 - degrees)) for degrees in compass_degrees]


def test_the_driver_fits_the_interface(compass):
    assert isinstance(Heading(OPTIONS, compass[1]), Sensor)


@pytest.mark.parametrize("body", ["HEHDT,60.0,T", "HCHDM,60.0,M", "HCHDG,50.0,,,10.0,E", "HCHDG,58.0,2.0,E,,"])
def test_each_kind_of_heading_becomes_a_field_angle(compass, body):
    (value,) = _read(compass, [body], 1)

    assert value.angle == pytest.approx(math.radians(30.0))
    assert value.rate is None
    assert value.calibration is None


def test_the_offset_is_added(compass):
    (value,) = _read(compass, ["HEHDT,60.0,T"], 1, offset=math.radians(-5.0))

    assert value.angle == pytest.approx(math.radians(25.0))


def test_a_rate_goes_with_the_headings_after_it(compass):
    first, second = _read(compass, ["HEHDT,60.0,T", "HEROT,-60.0,A", "HEHDT,61.0,T"], 2)

    assert first.rate is None
    assert second.rate == pytest.approx(math.radians(1.0))


def test_a_rate_that_is_not_valid_is_none(compass):
    (value,) = _read(compass, ["HEROT,-60.0,A", "HEROT,-60.0,V", "HEHDT,61.0,T"], 1)

    assert value.rate is None


def test_a_rate_of_long_ago_is_left_out(compass):
    _, context = compass
    driver = Heading(OPTIONS, context)
    link = context.links["aft"]
    link._on_line(frame("HEROT,-60.0,A"), 1_000_000_000)
    link._on_line(frame("HEHDT,60.0,T"), 1_400_000_000)
    link._on_line(frame("HEHDT,60.0,T"), 1_600_000_000)

    near, far = driver.poll(0)

    assert near.value.rate == pytest.approx(math.radians(1.0))
    assert far.value.rate is None
    assert [near.sequence, far.sequence] == [1, 2]


def test_times_never_go_back_within_one_chunk(compass):
    _, context = compass
    driver = Heading(OPTIONS, context)
    context.links["aft"]._on_line(frame("HEHDT,9.0,T"), 1_000_000_000)
    context.links["aft"]._on_line(frame("HEHDT,10.00,T"), 1_000_000_000)

    first, second = driver.poll(0)

    assert first.taken_ns == second.taken_ns < 1_000_000_000


def test_null_headings_give_no_reading(compass):
    values = _read(compass, ["HEHDT,,T", "HCHDG,,,,,", "HCHDM,60.0,M"], 1)

    assert [value.angle for value in values] == _angles(60.0)


def test_true_north_alone_counts_once_it_has_come(compass):
    values = _read(compass, ["HEHDT,60.0,T", "HCHDM,55.0,M", "HEHDT,61.0,T"], 2)

    assert [value.angle for value in values] == _angles(60.0, 61.0)
