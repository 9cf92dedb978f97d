"""The device's own time by what it says of it."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.guard.composer import CommandComposer
from rover.guard.device_time import DeviceTime
from rover.link.codec import decode
from rover.link.sentences import U32, CountsReport, Identity

MS = 1_000_000


def counts(device_ms, boot=1):
    return CountsReport(0, device_ms, boot, 0, 0)


def identity(device_ms, revision=2, boot=1):
    return Identity(0, device_ms, boot, 1000, "board", revision)


def heard(*reports, at_ns=0):
    device = DeviceTime()
    for report in reports:
        device.hear(report, at_ns)
    return device


@given(st.integers(0, U32), st.integers(-250, 10_000))
def test_it_goes_on_by_the_hosts_clock_and_wraps(device_ms, later_ms):
    device = heard(identity(0), counts(device_ms), at_ns=7 * MS)
    assert device.at((7 + later_ms) * MS) == (device_ms + later_ms) % 2**32


@pytest.mark.parametrize("reports", [(), (counts(5),), (identity(5, None),)])
def test_a_device_that_does_not_say_that_it_reads_a_time_gets_none(reports):
    assert heard(*reports).at(0) is None


def test_another_boot_number_is_a_restart_and_told_once():
    device = heard(counts(90_000), counts(90_020))
    assert not device.take_restart()
    device.hear(counts(10, boot=2), 0)
    assert [device.take_restart(), device.take_restart()] == [True, False]


def test_motion_bears_the_devices_time_and_zero_is_obeyed_however_late_it_comes():
    composer = CommandComposer(1, heard(identity(500)))
    assert decode(composer.motors((100, 0), 0, 200 * MS)).until_ms == 700
    assert decode(composer.servo(1500, 0, 200 * MS)).until_ms == 700
    assert decode(composer.zero(0)).until_ms is None
    assert decode(composer.servo(0, 0, 200 * MS)).until_ms is None


def test_at_a_line_that_was_opened_again_another_device_may_be():
    device = heard(identity(90_000))
    device.forget()
    device.hear(counts(10, boot=7), 0)
    assert device.at(0) is None
    assert not device.take_restart()
