"""The board's hardware watchdog, as the guard feeds it: it restarts the board when nobody has for some seconds."""

import contextlib
import errno
import fcntl
import os
import struct
from pathlib import Path

from rover.devices.kernel.files import explain

FEED_EVERY_NS = 1_000_000_000
TIMEOUT_S = 10
"""What is asked for: longer than a guard takes to be started again on a slow board, which then is not restarted."""
LONGEST_S = 15
"""With a longer time it counts as no way to zero: at 0.4 m/s the robot would be 6 m on."""
SET_TIMEOUT, GET_TIMEOUT = 0xC004_5706, 0x8004_5707
"""Requests of the kernel's ``linux/watchdog.h``: WDIOC_SETTIMEOUT and WDIOC_GETTIMEOUT, a C int of seconds."""
_INT = struct.Struct("i")


class HardwareWatchdog:
    """The kernel's watchdog device. Once open, it has to be fed; only `close` (its magic close) ends that.

    Attributes:
        timeout_s: after so many seconds without being fed it restarts the board, as the device itself says.
        fault: why it cannot be counted on; empty when it can.
    """

    def __init__(self, path: str) -> None:
        self.timeout_s = 0
        self.fault = ""
        self._descriptor: int | None = None
        self._fed_ns = 0
        try:
            self._descriptor = os.open(path, os.O_WRONLY | os.O_CLOEXEC)
            self.timeout_s = _timeout_set(self._descriptor)
        except OSError as error:
            is_no_watchdog = error.errno == errno.ENOTTY
            self.fault = f"{path} is no watchdog" if is_no_watchdog else explain(error, Path(path))
            return
        if not 0 < self.timeout_s <= LONGEST_S:
            self.fault = f"{path} restarts the board after {self.timeout_s} s; {LONGEST_S} s at most would do"

    def feed(self, now_ns: int) -> None:
        """Feed it once a second."""
        if self._descriptor is not None and now_ns - self._fed_ns >= FEED_EVERY_NS:
            self._fed_ns = now_ns
            with contextlib.suppress(OSError):
                os.write(self._descriptor, b"\0")

    def close(self) -> None:
        """Tell it that the end is meant (``V``), and let go."""
        if self._descriptor is None:
            return
        with contextlib.suppress(OSError):
            os.write(self._descriptor, b"V")
        os.close(self._descriptor)
        self._descriptor = None


def _timeout_set(descriptor: int) -> int:
    """Ask for `TIMEOUT_S`, and return the time (s) that the device says it has; some can be set to none or to few."""
    with contextlib.suppress(OSError):
        fcntl.ioctl(descriptor, SET_TIMEOUT, _INT.pack(TIMEOUT_S))
    (seconds,) = _INT.unpack(fcntl.ioctl(descriptor, GET_TIMEOUT, _INT.pack(0)))
    return int(seconds)
