"""When a sentence was true, in the host's time, from the device's own milliseconds."""

from typing import NamedTuple

_WRAP_MS = 1 << 32
_NS_PER_MS = 1_000_000

WINDOW_NS = 60_000_000_000
"""How far back arrivals count: resonators drift with temperature."""
LEAST_SPAN_NS = 2_000_000_000
"""Over less than this, delays drown the skew, which is taken as none."""
MOST_CORNERS = 100
"""Where the lag curves so much that its hull has more, the window is shortened."""
MOST_SKEW = 0.01
"""Twice what a ceramic resonator does (5 ms/s); more is a mistaken estimate."""


class _Arrival(NamedTuple):
    device_ns: int
    lag_ns: int  # host time of arrival less device time: offset + skew * device time + a delay that is never negative


class DeviceClock:
    """Maps a device's 32-bit millisecond count to host nanoseconds, through wraps and reboots.

    A sentence never arrives before it was sent, so the arrivals lie above the line that relates the clocks. The line
    is the supporting line of their lower convex hull at the middle of the window, which has the least mean distance
    to all arrivals (S. B. Moon, P. Skelly, D. Towsley, "Estimation and removal of clock skew from network delay
    measurements", 1999). What remains is the least delay, which cannot be told from the offset.

    The result never goes back, not even at a reboot, and never lies after the arrival.
    Not thread-safe; the link's reader thread alone calls it.

    Attributes:
        boot: the boot in force. A restart that kept its boot number (the count of ms went back) counts as another.
        skew: estimated host seconds gained for each device second.
    """

    def __init__(self) -> None:
        self.boot = -1
        self.skew = 0.0
        self._reported_boot: int | None = None
        self._last_ms = 0
        self._device_ns = 0
        self._host_ns = 0
        self._hull: list[_Arrival] = []

    def host_ns(self, device_ms: int, boot: int, received_ns: int) -> int:
        """Return the host time (ns) at which the device's count stood at ``device_ms``; call it once an arrival."""
        step_ms = (device_ms - self._last_ms) % _WRAP_MS
        if boot != self._reported_boot or step_ms >= _WRAP_MS // 2:
            self._restart(boot)
            step_ms = 0
        self._last_ms = device_ms
        self._device_ns += step_ms * _NS_PER_MS
        self._add(_Arrival(self._device_ns, received_ns - self._device_ns))
        # The line lies under every arrival, but for the rounding.
        self._host_ns = max(self._host_ns, min(self._estimate(), received_ns))
        return self._host_ns

    def _restart(self, boot: int) -> None:
        self.boot = boot if boot != self._reported_boot else (self.boot + 1) & 0xFFFF
        self._reported_boot = boot
        self._device_ns = 0
        self._hull.clear()
        self.skew = 0.0

    def _add(self, arrival: _Arrival) -> None:
        hull = self._hull
        if hull and hull[-1].device_ns == arrival.device_ns:
            arrival = min(hull.pop(), arrival)
        while len(hull) >= 2 and _turns_up_at(hull[-2], hull[-1], arrival) <= 0:
            hull.pop()
        hull.append(arrival)
        # Leaving out the oldest corner leaves the hull of the arrivals since the next one.
        oldest_ns = arrival.device_ns - WINDOW_NS
        while len(hull) > 2 and (hull[1].device_ns < oldest_ns or len(hull) > MOST_CORNERS):
            hull.pop(0)

    def _estimate(self) -> int:
        hull = self._hull
        self.skew = self._slope()
        corner = min(hull, key=lambda arrival: arrival.lag_ns - self.skew * (arrival.device_ns - hull[0].device_ns))
        return self._device_ns + corner.lag_ns + round(self.skew * (self._device_ns - corner.device_ns))

    def _slope(self) -> float:
        first, last = self._hull[0], self._hull[-1]
        if last.device_ns - first.device_ns < LEAST_SPAN_NS:
            return 0.0
        middle = (first.device_ns + last.device_ns) / 2
        after = next(index for index, arrival in enumerate(self._hull) if arrival.device_ns >= middle)
        left, right = self._hull[after - 1], self._hull[after]
        slope = (right.lag_ns - left.lag_ns) / (right.device_ns - left.device_ns)
        return min(max(slope, -MOST_SKEW), MOST_SKEW)


def _turns_up_at(start: _Arrival, corner: _Arrival, end: _Arrival) -> int:
    """Return a number above zero where the way from ``start`` over ``corner`` to ``end`` bends upwards."""
    run, rise = corner.device_ns - start.device_ns, corner.lag_ns - start.lag_ns
    return run * (end.lag_ns - start.lag_ns) - rise * (end.device_ns - start.device_ns)
