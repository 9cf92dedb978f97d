"""The hardware watchdog: what the kernel grants counts, not what is asked for. There is none here; `Kernel` answers."""

import errno
import fcntl
import os
import struct

import pytest

from rover.guard.watchdog import GET_TIMEOUT, SET_TIMEOUT, TIMEOUT_S, HardwareWatchdog


class Kernel:
    """A watchdog device as the kernel's documentation of its interface has it: it grants what the hardware can do."""

    def __init__(self, can_be_set: bool, seconds: int, most_s: int) -> None:
        self.can_be_set, self.seconds, self.most_s = can_be_set, seconds, most_s

    def ioctl(self, descriptor: int, request: int, argument: bytes) -> bytes:
        if request == SET_TIMEOUT:
            (asked,) = struct.unpack("i", argument)
            if not self.can_be_set:
                raise OSError(errno.EOPNOTSUPP, os.strerror(errno.EOPNOTSUPP))
            if asked > self.most_s:
                raise OSError(errno.EINVAL, os.strerror(errno.EINVAL))
            self.seconds = asked
        else:
            assert request == GET_TIMEOUT
        return struct.pack("i", self.seconds)


@pytest.fixture
def path(tmp_path):
    (tmp_path / "watchdog").write_bytes(b"")
    return tmp_path / "watchdog"


@pytest.mark.parametrize(
    ("kernel", "timeout_s", "fault"),
    [
        (Kernel(True, 30, 600), TIMEOUT_S, ""),
        (Kernel(True, 5, 8), 5, ""),
        (Kernel(False, 15, 15), 15, ""),
        (Kernel(False, 60, 60), 60, "restarts the board after 60 s; 15 s at most would do"),
        (Kernel(False, 0, 0), 0, "restarts the board after 0 s"),
    ],
    ids=["30 s by default", "8 s at most", "not to be set", "not to be set, and far too long", "tells no time"],
)
def test_the_timeout_is_asked_for_and_read_back(path, monkeypatch, kernel, timeout_s, fault):
    monkeypatch.setattr(fcntl, "ioctl", kernel.ioctl)
    watchdog = HardwareWatchdog(str(path))
    assert watchdog.timeout_s == timeout_s
    assert fault in watchdog.fault
    assert bool(fault) == bool(watchdog.fault)
    watchdog.close()
    assert path.read_bytes() == b"V", "or the board restarts"


def test_what_is_no_watchdog_counts_for_nothing(path):
    assert HardwareWatchdog(str(path)).fault == f"{path} is no watchdog"


def test_one_that_is_not_there_is_said_and_feeding_it_does_nothing(tmp_path):
    watchdog = HardwareWatchdog(str(tmp_path / "none"))
    assert "is not there" in watchdog.fault
    watchdog.feed(5_000_000_000)
    watchdog.close()
