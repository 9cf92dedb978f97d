"""The board's hardware watchdog: it restarts the board when nobody has fed it for some seconds."""

import contextlib
import os

FEED_EVERY_NS = 1_000_000_000


class HardwareWatchdog:
    """The kernel's watchdog device. Once open, it has to be fed; only `close` (its magic close) ends that.

    Raises:
        OSError: the device is not there, or another program feeds it.
    """

    def __init__(self, path: str) -> None:
        self._descriptor: int | None = os.open(path, os.O_WRONLY | os.O_CLOEXEC)
        self._fed_ns = 0

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
