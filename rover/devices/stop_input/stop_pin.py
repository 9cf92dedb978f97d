"""Stop input on a pin, wired normally closed: an open circuit, a broken wire or a pulled plug is a stop."""

from collections.abc import Mapping, Sequence
from typing import Any

from rover.devices.kernel.gpio import InputLines
from rover.devices.readings import Reading, StopInputValue

_NS = 1e9
_EVER = -(1 << 62)


class SlowToClose:
    """Takes an opening at once and a closing only when it has lasted. Pure.

    A contact bounces both ways; a stop must not wait for it to settle, the end of one must. One that is closed at the
    first look counts as closed: no stop has ended there.
    """

    def __init__(self, lasts_ns: int) -> None:
        self._lasts_ns = lasts_ns
        self._closed_since_ns: int | None = _EVER

    def see(self, closed: bool, now_ns: int) -> bool:
        """Take the contact's state; return whether it counts as closed."""
        if not closed:
            self._closed_since_ns = None
            return False
        if self._closed_since_ns is None:
            self._closed_since_ns = now_ns
        return now_ns - self._closed_since_ns >= self._lasts_ns


class StopInput:
    """The contact between the pin and ground (``bias: pull_up``) or between the pin and the supply (``pull_down``).

    The pull resistor makes an open circuit read as a stop either way; without one the pin would float, so it cannot
    be left out. An opening too short to be seen at a poll is seen by its edge.

    Raises:
        DeviceError: the pin cannot be had.
    """

    def __init__(self, options: Mapping[str, Any], context: Any = None) -> None:
        self._pin, self._closed_is_high = options["pin"], options["bias"] == "pull_down"
        self._lines = InputLines(options["gpio"], [self._pin], options["bias"])
        self._contact = SlowToClose(round(options["settle"] * _NS))
        self._sequence = 0

    def poll(self, now_ns: int) -> Sequence[Reading]:
        """Return the contact's state as `StopInputValue`."""
        opened = any(edge.rising != self._closed_is_high for edge in self._lines.edges())
        if opened:
            self._contact.see(False, now_ns)
        closed = self._contact.see(self._lines.is_high(self._pin) == self._closed_is_high, now_ns)
        self._sequence += 1
        return [Reading(now_ns, self._sequence, StopInputValue(closed and not opened))]

    def close(self) -> None:
        """Let go of the pin."""
        self._lines.close()
