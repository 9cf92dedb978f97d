"""The co-processor's own time, as far as its reports tell: until when a command counts, and that it restarted."""

from rover.link.sentences import U32, Identity, Report

READS_A_TIME = 2
"""The revision of the sentences from which on a device reads a command's time."""
_MS = 1_000_000


class DeviceTime:
    """Follows one device's milliseconds and boot number.

    A report has been under way for a while when it is heard, so the device's clock is taken to be behind what it is,
    by some 10 ms; a command ends so much sooner, never later.
    """

    def __init__(self) -> None:
        self.forget()

    def forget(self) -> None:
        """Begin afresh: another device may be at the end of a line that was opened again."""
        self._boot: int | None = None
        self._device_ms = self._heard_ns = 0
        self._reads_a_time = self._has_restarted = False

    def hear(self, report: Report, heard_ns: int) -> None:
        """Take a report in."""
        self._has_restarted |= self._boot not in (None, report.boot)
        self._boot, self._device_ms, self._heard_ns = report.boot, report.device_ms, heard_ns
        if isinstance(report, Identity):
            self._reads_a_time = (report.revision or 1) >= READS_A_TIME

    def at(self, then_ns: int) -> int | None:
        """Return the device's milliseconds at a time of the host, None for a device that would not read them."""
        if not self._reads_a_time:
            return None
        return (self._device_ms + (then_ns - self._heard_ns) // _MS) & U32

    def take_restart(self) -> bool:
        """Tell whether the device has restarted since the last call."""
        has_restarted, self._has_restarted = self._has_restarted, False
        return has_restarted
